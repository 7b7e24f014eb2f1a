"""Two farms on one machine, with equal names, that know nothing of each other."""

from contextlib import ExitStack
from pathlib import Path

import httpx
import pytest

from tests.support.service_process import Service, write_farm
from watcher.store import runs, weather
from watcher.store.database import Database

pytestmark = pytest.mark.long


def test_two_farms_run_side_by_side(tmp_path: Path) -> None:
    with ExitStack() as running:
        services = []
        for name in ("east", "west"):
            folder = tmp_path / name
            folder.mkdir()
            write_farm(folder)
            service = running.enter_context(Service(folder, "json://127.0.0.1:9/"))
            service.begin()
            services.append(service)
        east, west = services
        for service in services:
            service._wait_until_it_answers()
        assert east.post(wind="6 mph") == 200
        answer = [
            httpx.get(f"http://127.0.0.1:{service.port}/health", timeout=30).json()
            for service in services
        ]
        [of_east], [of_west] = (health["sources"] for health in answer)
        assert of_east["age_s"] is not None
        assert of_west["age_s"] is None, "the other farm's station was not heard"
        assert (east.stop(), west.stop()) == (0, 0)
    assert {file.name for file in (tmp_path / "east").iterdir()} >= {"watch.db", "door.db"}


def test_two_farms_run_side_by_side_on_one_log(tmp_path: Path, server_url: str) -> None:
    """Equal farm files, one database: each has its own readings, lock and runs."""
    services = {}
    with ExitStack() as running:
        for number in (1, 2):
            folder = tmp_path / f"{number}"
            folder.mkdir()
            write_farm(folder)
            services[number] = running.enter_context(
                Service(
                    folder,
                    "json://127.0.0.1:9/",
                    server_url,
                    WATCHER_FARM_NUMBER=f"{number}",
                )
            )
        first, second = services.values()
        unknown = second.command("now")
        assert unknown.returncode == 2
        assert "watcher fleet add" in unknown.stderr
        assert first.command("fleet", "add", "west").returncode == 0
        for service in services.values():
            service.begin()
        for service in services.values():
            service._wait_until_it_answers()
        assert first.post(wind="6 mph") == 200
        assert second.command("run").returncode == 2  # it runs already
        health = [
            httpx.get(f"http://127.0.0.1:{service.port}/health", timeout=30).json()
            for service in services.values()
        ]
        [of_first], [of_second] = (each["sources"] for each in health)
        assert of_first["age_s"] is not None
        assert of_second["age_s"] is None, "the other farm's station was not heard"
        assert (first.stop(), second.stop()) == (0, 0)
    for number in (1, 2):
        log = Database(server_url, farm=number)
        with log.reading() as session:
            last = runs.last(session)
            heard = weather.newest_time(session, "mast")
        assert last is not None
        assert last.id == 1
        assert (heard is not None) == (number == 1)
        log.close()
