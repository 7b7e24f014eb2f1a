"""The invented farm of ``farms`` as files on a disk, with comments an owner would write."""

import json
from pathlib import Path
from typing import Any

import shapely
import tomlkit

from tests.support.farms import build, watched_tables


def written(folder: Path, tables: dict[str, Any] | None = None) -> Path:
    """Write farm file and boundaries; returns the farm file."""
    tables = tables or watched_tables()
    farm = build(tables)
    shapes = {**farm.ground.fields_deg, **farm.ground.neighbours_deg}
    features = [
        {
            "type": "Feature",
            "id": name,
            "properties": {"role": "field" if name in farm.ground.fields_deg else "neighbour"},
            "geometry": json.loads(shapely.to_geojson(shape)),
        }
        for name, shape in shapes.items()
    ]
    collection = {"type": "FeatureCollection", "features": features}
    (folder / "fields.geojson").write_text(json.dumps(collection))
    file = folder / "farm.toml"
    file.write_text("# My farm (invented).\n" + tomlkit.dumps(tables))
    return file
