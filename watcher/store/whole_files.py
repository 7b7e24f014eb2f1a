"""Small files that are found whole, old or new, whatever happens while they are written."""

import os
from pathlib import Path


def write_whole(file: Path, text: str, *, mode: int = 0o600) -> None:
    """Put a text in place of a file, readable by its owner only. Raises ``OSError``.

    ``mode`` is whoever else may read it; a link to the file stays one.

    It is on the disk before it takes the old one's place: a power cut leaves one of them.
    """
    file = file.resolve()
    new = file.with_name(f"{file.name}.new")
    with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as written:
        os.fchmod(written.fileno(), mode)
        written.write(text.encode())
        written.flush()
        os.fsync(written.fileno())
    new.replace(file)
    folder = os.open(file.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
