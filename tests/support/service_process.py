"""The real service as a process of its own, ``watcher run``, over an invented farm on loopback."""

import json
import os
import resource
import socket
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Self

import httpx
import shapely
from shapely.affinity import translate
from timezonefinder import TimezoneFinder

from tests.support.farms import LONGITUDE, build, tables
from watcher.farm import Farm
from watcher.farm.load import load

_ROOT = Path(__file__).resolve().parent.parent.parent
TOKEN = "a-token-long-enough-to-be-one"
_FARM = """
[farm]
name = "Invented farm"
time_zone = "{zone}"
units = "us"

[sprayers.boom]
boom_width = "90 ft"
boom_height = "20 in"
speed = "6 mph"
tank = "1200 gal"
field_efficiency = "65 %"
fill_time = "15 min"

[setups.coarse]
sprayer = "boom"
nozzle = "air induction"
droplets = "coarse"
carrier = "15 gal/acre"

[windows.contact]
wind = { low = "3 mph", high = "10 mph", origin = "label" }
gust = { high = "15 mph" }

[fields.hill]
crop = "soybeans"
weeds = "clean"
window = "contact"

[sources.mast]
kind = "push"
heights = { wind = "4 ft", temperature = "4 ft" }
measures = ["wind", "gust", "wind_from", "temperature", "humidity"]

[recipients.grower]
hears = ["job"]
"""


def write_farm(folder: Path, more: str = "") -> Farm:
    """Write the farm's two files and load them as the service does; ``more`` is added to one.

    The service has the machine's own clock, so the farm lies where the sun stands high just now:
    at dusk it would be told of an inversion.
    """
    longitude = _early_afternoon(time.time())
    outline = build(tables()).ground.fields_deg["hill"]
    outline = translate(outline, xoff=longitude - LONGITUDE)
    feature = {
        "type": "Feature",
        "id": "hill",
        "properties": {},
        "geometry": shapely.geometry.mapping(shapely.orient_polygons(outline)),
    }
    collection = {"type": "FeatureCollection", "features": [feature]}
    (folder / "fields.geojson").write_text(json.dumps(collection))
    path = folder / "farm.toml"
    centre = outline.centroid  # on a coast its corner may lie in another zone
    zone = TimezoneFinder().timezone_at(lng=centre.x, lat=centre.y)
    path.write_text(_FARM.replace("{zone}", str(zone)) + more)
    return load(path)


def _early_afternoon(now: float) -> float:
    """Return the longitude at which it is an hour past noon by the sun. [deg]"""
    hour = now % 86_400 / 3600
    east = (13.0 - hour) * 15.0 if hour >= 1.0 else (13.0 - hour) * 15.0 - 360.0
    return min(max(east, -179.0), 179.0)  # no field lies across the 180th meridian


class Service:
    """Started, killed and started again over the same folder."""

    def __init__(
        self,
        folder: Path,
        push_url: str,
        database: str | None = None,
        *,
        descriptors: int | None = None,
        state: Path | None = None,
        limits: Mapping[int, int] | None = None,
        **settings: str,
    ) -> None:
        """``descriptors``: how many files and sockets it may have open, from its start on.

        ``state`` is where its log lies, the folder itself if not told; ``limits`` are what the
        machine allows it once it runs (``resource.RLIMIT_…``).
        """
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self._process: subprocess.Popen[bytes] | None = None
        self.folder, self.state = folder, state or folder
        self.database = database or f"sqlite:///{self.state / 'watch.db'}"
        self._limits = limits or {}
        self.environment = {
            **{k: v for k, v in os.environ.items() if not k.startswith("WATCHER_")},
            "WATCHER_FARM": str(folder / "farm.toml"),
            "WATCHER_STATE_DIR": str(self.state),
            "WATCHER_PUSH_URLS__grower": push_url,
            "WATCHER_STATION_TOKENS__mast": TOKEN,
            "WATCHER_CONTACT": "grower@farm.example",
            "WATCHER_PORT": str(self.port),
            "WATCHER_DATABASE_URL": self.database,
            **settings,
        }
        self._limited: list[str] = []
        if descriptors is not None:
            self._limited = ["sh", "-c", f'ulimit -n {descriptors}; exec "$0" "$@"']

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def command(self, *arguments: str, **settings: str) -> "subprocess.CompletedProcess[str]":
        """Run a command of the program beside the service until it ends."""
        return subprocess.run(
            [sys.executable, "-m", "watcher", *arguments],
            cwd=_ROOT,
            env=self.environment | settings,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )

    def begin(self) -> None:
        """Start it, and do not wait for anything."""
        output = (self.folder / "output.txt").open("ab")
        self._process = subprocess.Popen(
            [*self._limited, sys.executable, "-m", "watcher", "run"],
            cwd=_ROOT,
            env=self.environment,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
        output.close()
        for what, most in self._limits.items():
            resource.prlimit(self._process.pid, what, (most, most))

    def start(self) -> None:
        """Start it and wait until it answers."""
        self.begin()
        self._wait_until_it_answers()

    def _wait_until_it_answers(self, timeout_s: float = 180.0) -> None:
        until = time.monotonic() + timeout_s
        while time.monotonic() < until:
            assert self._process is not None
            assert self._process.poll() is None, (self.folder / "output.txt").read_text()[-2000:]
            try:
                httpx.get(f"http://127.0.0.1:{self.port}/health", timeout=5.0)
            except httpx.TransportError:
                time.sleep(0.05)
            else:
                return
        raise AssertionError("the service does not answer")

    def kill(self) -> None:
        """SIGKILL, with no chance to do anything."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(10)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Leave no process behind, whatever a test ran into."""
        if self._process is not None and self._process.poll() is None:
            self.kill()

    def stop(self) -> int:
        """SIGTERM, and wait for its end."""
        assert self._process is not None
        self._process.terminate()
        return self._process.wait(30)

    def post(self, **quantities: Any) -> int:
        """Post one reading of this moment as the mast; returns the status it was answered with."""
        now = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
        calm = {
            "wind": "5 mph",
            "gust": "7 mph",
            "wind_from": "0 deg",
            "temperature": "68 degF",
            "humidity": "55 %",
        }
        return httpx.post(
            f"http://127.0.0.1:{self.port}/api/v1/stations/mast/readings",
            json={"time": now} | calm | quantities,
            headers={"Authorization": f"Bearer {TOKEN}"},
            timeout=30.0,
        ).status_code
