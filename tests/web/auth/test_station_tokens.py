"""A station's token: the settings' alone where one is set, else one that stays the same."""

from pathlib import Path

from pydantic import SecretStr

from tests.support.farm_files import written
from tests.support.farms import watched_tables
from tests.support.visiting import visited
from watcher.web.auth.sessions import SessionStore
from watcher.web.auth.station_tokens import StationTokens


def test_a_made_token_outlives_a_restart_and_is_of_one_station(tmp_path: Path) -> None:
    seen = []
    for _ in range(2):
        sessions = SessionStore(tmp_path / "door.db")
        tokens = StationTokens({}, sessions)
        seen.append((tokens["yard"].get_secret_value(), tokens["mast"].get_secret_value()))
        sessions.close()
    assert seen[0] == seen[1]
    assert seen[0][0] != seen[0][1]
    assert len(seen[0][0]) == 64


def test_it_is_of_one_watch(tmp_path: Path) -> None:
    one, other = SessionStore(tmp_path / "a.db"), SessionStore(tmp_path / "b.db")
    assert StationTokens({}, one)["yard"] != StationTokens({}, other)["yard"]
    one.close()
    other.close()


def test_the_settings_stand_first(tmp_path: Path) -> None:
    sessions = SessionStore(tmp_path / "door.db")
    tokens = StationTokens({"yard": SecretStr("given-in-the-settings")}, sessions)
    assert tokens.get("yard") == SecretStr("given-in-the-settings")
    assert list(tokens) == ["yard"]
    sessions.close()


async def test_the_watch_takes_the_one_that_the_first_visit_showed(tmp_path: Path) -> None:
    tables = watched_tables()
    tables["sources"] |= {"creek": {"kind": "push"}}
    async with visited(tmp_path, farm_file=written(tmp_path, tables)) as v:
        shown = StationTokens({}, v.sessions)["creek"].get_secret_value()
        for token, status in ((shown, 200), ("another-token-that-is-long-enough", 401)):
            answer = await v.web.post(
                "/stations/creek/readings",
                headers={"Authorization": f"Bearer {token}"},
                json={"time": "2026-06-10T16:00:00Z", "wind": "5 mph"},
            )
            assert answer.status_code == status
