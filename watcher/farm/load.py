"""Read a farm file and its boundaries, check everything, and say all that is wrong at once."""

import json
import tomllib
from pathlib import Path

import shapely

from watcher.farm import Farm
from watcher.farm.ground import Ground
from watcher.farm.models import FarmFile
from watcher.farm.problems import FarmFileError

__all__ = ["FarmFileError", "load"]


def load(path: Path) -> Farm:
    """Read the farm file at ``path`` and the boundaries it names."""
    told = FarmFile.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    collection = json.loads((path.parent / told.farm.fields_file).read_text(encoding="utf-8"))
    shapes = {f["id"]: shapely.geometry.shape(f["geometry"]) for f in collection["features"]}
    ground = Ground(
        {name: shapes[name] for name in told.fields},
        {name: shapes[name] for name in told.neighbours},
    )
    return Farm(told, ground)
