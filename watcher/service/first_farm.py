"""The farm of a first visit as it is entered: kept over restarts, written once it is whole."""

import json
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import shapely
from pydantic import BaseModel, ValidationError

from watcher.farm.editing.edits import Edit, SetValue, edited
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.geometry.ground import Polygonal
from watcher.farm.problems import FarmFileError, Problem
from watcher.store.whole_files import write_whole

_FIELDS = "fields.geojson"
_EMPTY = json.dumps({"type": "FeatureCollection", "features": []})
_TABLES = ("sprayers", "setups", "windows", "fields", "sources")


class _Kept(BaseModel):
    farm: str = "# Written on the first visit; every key is explained in the example's comments.\n"
    fields: str = _EMPTY
    place: tuple[float, float] | None = None


class FirstFarm:
    """A farm that is being entered. Blocking; one writer at a time."""

    def __init__(self, kept: Path, file: Path) -> None:
        """``kept`` is where it stands between screens, ``file`` the farm file it becomes."""
        self._kept_in, self.file = kept, file
        try:
            self._now = _Kept.model_validate_json(kept.read_bytes())
        except (OSError, ValidationError):
            self._now = _Kept()

    @property
    def texts(self) -> FarmTexts:
        """Both files as they would be written now."""
        fields_file = self.file.parent / _FIELDS
        return FarmTexts(self.file, self._now.farm, fields_file, self._now.fields)

    @property
    def raw(self) -> dict[str, Any]:
        """What is entered so far, as the farm file has it."""
        return tomllib.loads(self._now.farm)

    @property
    def place(self) -> tuple[float, float] | None:
        """Latitude and longitude of the farm, as entered; None before that. [degrees]"""
        return self._now.place

    @property
    def shapes(self) -> Mapping[str, Polygonal]:
        """The boundaries entered so far, by name. [degrees]"""
        features = json.loads(self._now.fields)["features"]
        shapes = {f["id"]: shapely.from_geojson(json.dumps(f["geometry"])) for f in features}
        return {name: shape for name, shape in shapes.items() if isinstance(shape, Polygonal)}

    def with_edits(self, edits: Sequence[Edit]) -> FarmTexts:
        """Return the texts with these edits made; nothing is kept yet."""
        return edited(self.texts, edits)

    def keep(self, texts: FarmTexts, place: tuple[float, float] | None = None) -> None:
        """Keep what is entered, for the next screen and the next start. Raises ``OSError``."""
        place = self._now.place if place is None else place
        self._now = _Kept(farm=texts.farm, fields=texts.fields, place=place)
        write_whole(self._kept_in, self._now.model_dump_json())

    def problems(self, texts: FarmTexts | None = None) -> tuple[Problem, ...]:
        """Return all that is missing or wrong, as ``watcher check`` says it."""
        try:
            self.whole(texts).load()
        except FarmFileError as error:
            return error.problems
        return ()

    def whole(self, texts: FarmTexts | None = None) -> FarmTexts:
        """Return the texts with the tables that must be there, however empty."""
        texts = texts or self.texts
        raw = tomllib.loads(texts.farm)
        missing = [SetValue((table,), {}) for table in _TABLES if table not in raw]
        return edited(texts, missing)

    def write(self) -> FarmTexts:
        """Write both files, boundaries first. Raises ``OSError``."""
        texts = self.whole()
        self.file.parent.mkdir(parents=True, exist_ok=True)
        write_whole(texts.fields_file, texts.fields)
        write_whole(texts.file, texts.farm)
        self._kept_in.unlink(missing_ok=True)
        return texts
