"""Secrets that are set while the watch runs are used without a restart."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from tests.support.farm_files import written
from tests.support.farms import build, watched_tables
from tests.support.visiting import visited
from watcher.delivery.addressees import is_device
from watcher.service.farm_in_use import Sources
from watcher.service.kept_secrets import SecretKind
from watcher.service.secrets_in_use import wanted
from watcher.store import outbox


@dataclass
class Made:
    """What sources were begun with, in place of making any."""

    keys: list[str | None] = field(default_factory=list)


@pytest.mark.parametrize("kind", [SecretKind.FEED, SecretKind.BROKER])
async def test_a_source_is_begun_anew_with_its_new_secret(tmp_path: Path, kind: SecretKind) -> None:
    async with visited(tmp_path, farm_file=written(tmp_path), calm=False) as v:
        watch, made = v.service.watch, Made()
        secrets = v.service.app.state.secrets_in_use
        assert watch.farm_in_use is not None

        def make(_farm: Any) -> Sources:
            found = secrets.known.secret(kind, "feed")
            made.keys.append(None if found is None else found.get_secret_value())
            return Sources({}, {})

        watch.farm_in_use._sources = make
        await secrets.keep(kind, "feed", "a-key", by="boss")
        await secrets.keep(SecretKind.STATION, "mast2", "a-token-long-enough", by="boss")
        await secrets.keep(SecretKind.PUSH, "grower", "json://127.0.0.1:9/x", by="boss")
        assert await secrets.remove(kind, "feed", by="boss")
        assert not await secrets.remove(kind, "feed", by="boss")
        assert made.keys == ["a-key", None]


def test_who_may_have_a_secret_is_who_the_farm_names() -> None:
    tables = watched_tables()
    tables["sources"] |= {
        "paid": {"kind": "open_meteo"},
        "buoy": {"kind": "mqtt", "host": "broker.example", "topic": "farm/mast", "user": "watch"},
        "open": {"kind": "mqtt", "host": "broker.example", "topic": "farm/mast"},
    }
    assert wanted(build(tables)) == {
        SecretKind.PUSH: ["grower", "operator"],
        SecretKind.STATION: ["mast"],
        SecretKind.BROKER: ["buoy"],
        SecretKind.FEED: ["paid"],
    }


async def test_that_push_addresses_are_lost_is_told_to_who_can_be_reached(tmp_path: Path) -> None:
    file = tmp_path / "secrets.json"
    file.write_text("{")
    farm_file = written(tmp_path)
    async with visited(tmp_path, farm_file=farm_file, secrets_file=file, calm=False) as v:
        with v.service.watch.transactions.store.reading() as session:
            heard = [m for m in outbox.newest(session, 20) if m.kind == "secrets lost"]
        assert {m.recipient for m in heard if not is_device(m.recipient)} == {"grower", "operator"}
        assert all(m.urgent for m in heard)
        [grower] = [m for m in heard if m.recipient == "grower"]
        assert grower.title == "Look at the push addresses"
        assert "was damaged and is set aside" in grower.body
