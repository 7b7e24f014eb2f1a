"""What the tests of the service share."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from watcher.store.database import Log


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    """A new log in a file of its own."""
    log = Log(f"sqlite:///{tmp_path / 'watch.db'}")
    log.upgrade()
    yield log
    log.close()
