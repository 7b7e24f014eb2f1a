"""What the tests of jobs share: an invented farm's plan and an empty log."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.farms import build, tables
from watcher.judge.plan import Plan
from watcher.store.database import Log


@pytest.fixture(scope="session")
def plan() -> Plan:
    return Plan.of(build(tables()))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Log]:
    log = Log(f"sqlite:///{tmp_path / 'watch.db'}")
    log.upgrade()
    yield log
    log.close()
