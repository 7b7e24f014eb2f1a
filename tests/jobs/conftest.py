"""What the tests of jobs share: an invented farm's plan and an empty log."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.farms import build, tables
from tests.support.new_log import new_log
from watcher.limits.farm_arrays import FarmArrays
from watcher.store.database import Database


@pytest.fixture(scope="session")
def plan() -> FarmArrays:
    return FarmArrays.of(build(tables()))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Database]:
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()
