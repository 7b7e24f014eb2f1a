"""A small farm on disk that a test spoils in one place, and the problems the loader then tells."""

import json
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from watcher.farm.load import load
from watcher.farm.problems import FarmFileError

FARM = """
[farm]
name = "Test farm (invented)"
time_zone = "America/Chicago"
units = "us"

[sprayers.boom]
boom_width = "90 ft"
boom_height = "20 in"
speed = "6 mph"
tank = "1000 gal"
field_efficiency = "65 %"
fill_time = "20 min"

[setups.fan]
sprayer = "boom"
nozzle = "flat fan"
droplets = "fine"
carrier = "15 gal/acre"

[setups.coarse]
sprayer = "boom"
nozzle = "air induction"
droplets = "coarse"
carrier = "15 gal/acre"
nozzle_size = "03"
pressure = "41 psi"

[windows.contact]
wind = { low = "3 mph", high = "10 mph", origin = "label" }
temperature = { low = "50 degF", high = "90 degF" }
rain_free_after = { low = "4 h" }
after_sunrise = { low = "1 h" }
before_sunset = { low = "2 h" }
droplets = { low = "fine", origin = "label" }

[fields.north]
crop = "corn"
weeds = "weedy"
window = "contact"

[fields.south]
crop = "corn"
weeds = "clean"
window = "contact"
setups = ["coarse"]
latest = 2026-06-18

[neighbours.orchard]
grows = "apples"
susceptibility = "susceptible"

[sources.forecast]
kind = "open_meteo"

[sources.yard]
kind = "push"

[recipients.grower]
quiet_hours = { start = 21:30:00, end = 05:00:00 }
"""


def square(
    east: float, north: float, size: float = 0.005, *, west: float = -96.5, south: float = 41.5
) -> list[list[list[float]]]:
    """Coordinates of a square whose south-west corner lies so many degrees from a place."""
    w, s = west + east, south + north
    return [[[w, s], [w + size, s], [w + size, s + size], [w, s + size], [w, s]]]


def collection() -> dict[str, Any]:
    """Boundaries of the small farm: the orchard is north of field north, south is south of it."""
    places = {"north": (0, 0), "south": (0, -0.006), "orchard": (0, 0.006)}
    return {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "id": name,
                "properties": {},
                "geometry": {"type": "Polygon", "coordinates": square(*place)},
            }
            for name, place in places.items()
        ],
    }


class Said(NamedTuple):
    """A problem as it is read in English."""

    file: Path
    key: str
    wrong: str
    mend: str

    def __str__(self) -> str:
        return f"{self.file}: {self.key}: {self.wrong}\n    {self.mend}"


class SmallFarm:
    """The small farm on disk: edit its text, spoil its boundaries, load it."""

    square = staticmethod(square)

    def __init__(self, folder: Path) -> None:
        self.file = folder / "farm.toml"
        self.boundaries = folder / "fields.geojson"
        self.text, self.shapes = FARM, collection()

    def edit(self, was: str, now: str) -> "SmallFarm":
        assert was in self.text
        self.text = self.text.replace(was, now, 1)
        return self

    def add(self, text: str) -> "SmallFarm":
        self.text += text
        return self

    def feature(self, name: str) -> dict[str, Any]:
        return next(f for f in self.shapes["features"] if f["id"] == name)

    def draw(self, name: str, coordinates: Any, kind: str = "Polygon") -> "SmallFarm":
        self.feature(name)["geometry"] = {"type": kind, "coordinates": coordinates}
        return self

    def write(self) -> Path:
        self.file.write_text(self.text, encoding="utf-8")
        self.boundaries.write_text(json.dumps(self.shapes), encoding="utf-8")
        return self.file

    def error(self) -> FarmFileError:
        with pytest.raises(FarmFileError) as caught:
            load(self.write())
        return caught.value

    def problems(self) -> tuple[Said, ...]:
        """All problems in English."""
        return tuple(
            Said(p.file, str(p.key), str(p.wrong), str(p.mend)) for p in self.error().problems
        )

    def problem(self) -> Said:
        """The one problem there is."""
        found = self.problems()
        assert len(found) == 1, "\n".join(map(str, found))
        return found[0]


@pytest.fixture
def farm(tmp_path: Path) -> SmallFarm:
    return SmallFarm(tmp_path)
