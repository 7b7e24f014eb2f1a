"""A station's token: the settings' alone where one is set, else one that stays the same."""

from pathlib import Path

from pydantic import SecretStr

from watcher.web.auth.sessions import SessionStore
from watcher.web.auth.station_tokens import StationTokens


def test_a_made_token_outlives_a_restart_and_is_of_one_station(tmp_path: Path) -> None:
    seen = []
    for _ in range(2):
        keyring = SessionStore(tmp_path / "door.db")
        tokens = StationTokens({}, keyring)
        seen.append((tokens["yard"].get_secret_value(), tokens["mast"].get_secret_value()))
        keyring.close()
    assert seen[0] == seen[1]
    assert seen[0][0] != seen[0][1]
    assert len(seen[0][0]) == 64


def test_it_is_of_one_watch(tmp_path: Path) -> None:
    one, other = SessionStore(tmp_path / "a.db"), SessionStore(tmp_path / "b.db")
    assert StationTokens({}, one)["yard"] != StationTokens({}, other)["yard"]
    one.close()
    other.close()


def test_the_settings_stand_first(tmp_path: Path) -> None:
    keyring = SessionStore(tmp_path / "door.db")
    tokens = StationTokens({"yard": SecretStr("told-in-the-settings")}, keyring)
    assert tokens.get("yard") == SecretStr("told-in-the-settings")
    assert list(tokens) == ["yard"]
    keyring.close()
