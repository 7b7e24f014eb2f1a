"""An archive goes from a log in a file to one on a server and back, and stays equal."""

import io
from pathlib import Path

import pytest

from tests.service.test_farm_moving import LATER, Place, archive_of, lived
from tests.support.farm_steps import START, STEPS
from watcher.records import journal
from watcher.service.farm_bundle import read_bundle
from watcher.service.farm_moving import bring_in
from watcher.service.fleet import add_farm
from watcher.store.database import Database
from watcher.store.moving import moved_out

pytestmark = pytest.mark.long


@pytest.mark.parametrize("shared", [False, True])
async def test_a_farm_goes_to_a_server_and_back_equal(
    tmp_path: Path, server_url: str, shared: bool
) -> None:
    """``shared``: as the second farm of a log in which another one has jobs of equal numbers."""
    home_folder = tmp_path / "home"
    home_folder.mkdir()
    home = await lived(home_folder)
    log = _beside_another(server_url) if shared else Database(server_url)
    there = Place(tmp_path / "there", log)
    there.folder.mkdir()
    back = Place.at(tmp_path / "back")
    for source, target in ((home, there), (there, back)):
        bundle = read_bundle(archive_of(source))
        found = bring_in(bundle, target.log, target.file, target.versions, now=LATER)
        assert (found.jobs, found.readings) == (1, 2)
    rows = []
    for place in (home, there, back):
        with place.log.reading() as session:
            rows.append(moved_out(session))
            verdict = journal.verify(session)
            assert verdict.broken is None
            assert verdict.count > 0
    assert rows[0] == rows[1] == rows[2]
    assert home.file.read_bytes() == there.file.read_bytes() == back.file.read_bytes()
    whole = [read_bundle(io.BytesIO(archive_of(place).getvalue())) for place in (home, there, back)]
    tables = []
    for bundle in whole:
        with bundle.readings() as lines:
            tables.append(lines.read())
    assert tables[0] == tables[1] == tables[2]
    for place in (home, there, back):
        place.log.close()


def _beside_another(url: str) -> Database:
    first = Database(url)
    number = add_farm(first, "moved_in")
    with first.writing() as session:
        for step in STEPS:
            step(session, START, 3.0)
    first.close()
    return Database(url, farm=number)
