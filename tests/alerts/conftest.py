"""What the tests of alerts share: an invented farm, an empty log, a push receiver."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.farms import build, tables
from tests.support.new_log import new_log
from tests.support.receiver import Receiver
from watcher.farm import Farm
from watcher.store.database import Database


@pytest.fixture(scope="session")
def farm() -> Farm:
    return build(tables())


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Database]:
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()
