"""What the tests of records share: the invented farm, and a log of a job it sprayed."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support import sprayed
from tests.support.new_log import new_log
from tests.support.sprayed import RuleGroup
from watcher.farm import Farm
from watcher.store.database import Database


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Database]:
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()


@pytest.fixture(scope="session")
def farm() -> Farm:
    return sprayed.farm()


@pytest.fixture
def desk(store: Database, farm: Farm) -> RuleGroup:
    return RuleGroup(store, farm)


@pytest.fixture
def job(store: Database, farm: Farm) -> int:
    """A job of 75 minutes on the field south of the orchard, finished."""
    return sprayed.spray(store, farm)
