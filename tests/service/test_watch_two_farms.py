"""Two farms on one machine: two state folders and two processes that know nothing of each other."""

from contextlib import ExitStack
from pathlib import Path

import httpx
import pytest

from tests.support.service_process import Service, write_farm

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
