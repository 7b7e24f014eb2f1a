"""What the tests of the service share."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from watcher.store.database import Database


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Database]:
    """A new log in a file of its own."""
    log = Database(f"sqlite:///{tmp_path / 'watch.db'}")
    log.upgrade()
    yield log
    log.close()
