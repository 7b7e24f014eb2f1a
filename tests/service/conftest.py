"""What the tests of the service share."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.new_log import new_log
from watcher.store.database import Database


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Database]:
    """A new log in a file of its own."""
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()
