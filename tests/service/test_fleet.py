"""Farms are added to a log on a server, each under a name of its own."""

import pytest

from tests.support.new_log import new_log
from watcher.service.fleet import FleetError, add_farm, farms_of
from watcher.store.database import Database


@pytest.mark.long
def test_a_farm_is_added_once(server_url: str) -> None:
    log = Database(server_url)
    assert add_farm(log, "north") == 2
    with pytest.raises(FleetError, match="has a farm north already; choose another"):
        add_farm(log, "north")
    assert farms_of(log) == [(1, "farm"), (2, "north")]
    log.close()


def test_a_log_in_a_file_holds_one_farm(tmp_path) -> None:
    log = new_log(tmp_path / "watch.db")
    before = farms_of(log)
    with pytest.raises(FleetError, match=r"a log in a file holds one farm; .*WATCHER_STATE_DIR"):
        add_farm(log, "north")
    assert before[0] == (1, "farm")
    assert farms_of(log) == before
    log.close()


@pytest.mark.parametrize("name", ["", "North", "a b", "-north", "n" * 64, "añil", "north\n"])
def test_a_name_is_plain(tmp_path, name: str) -> None:
    log = new_log(tmp_path / "watch.db")
    with pytest.raises(FleetError, match="small letters"):
        add_farm(log, name)
    log.close()
