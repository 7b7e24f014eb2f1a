"""Read a farm file and its boundaries, check everything, and say all that is wrong at once."""

from collections.abc import Iterator, Mapping
from pathlib import Path

from watcher.farm import Farm
from watcher.farm.boundaries import Boundaries, read_boundaries
from watcher.farm.checks import names, people, places, setups, sources, windows
from watcher.farm.ground import Ground, Polygonal
from watcher.farm.problems import FarmFileError, Problem
from watcher.farm.reading import Draft, read_draft

__all__ = ["FarmFileError", "load"]


def load(path: Path) -> Farm:
    """Read the farm file at ``path`` and the boundaries it names.

    Raises ``FarmFileError`` listing everything that is wrong in both, each with file, key, value
    and mend. What cannot be read is left out of the checks across entries, not the whole file.
    """
    draft = read_draft(path)
    boundaries = read_boundaries(draft.fields_file)
    ground = Ground(
        fields_deg=_of(boundaries, draft.names("fields")),
        neighbours_deg=_of(boundaries, draft.names("neighbours")),
    )
    problems = [*draft.problems, *_told_problems(draft)]
    problems += [*boundaries.problems, *_place_problems(draft, boundaries, ground)]
    if problems:
        raise FarmFileError(list(dict.fromkeys(problems)))
    return Farm(draft.told, ground)


def _of(boundaries: Boundaries, names: tuple[str, ...]) -> Mapping[str, Polygonal]:
    return {name: boundaries.shapes[name] for name in names if name in boundaries.shapes}


def _told_problems(draft: Draft) -> Iterator[Problem]:
    yield from names.unknown_names(draft)
    yield from setups.setup_problems(draft)
    yield from windows.window_problems(draft)
    yield from windows.field_problems(draft)
    yield from sources.source_problems(draft)
    yield from people.people_problems(draft)


def _place_problems(draft: Draft, boundaries: Boundaries, ground: Ground) -> Iterator[Problem]:
    fields, neighbours = ground.fields_deg, ground.neighbours_deg
    everything = {**fields, **neighbours}
    yield from names.unmatched_boundaries(draft, boundaries)
    yield from windows.night_problems(draft, fields)
    yield from places.zone_problems(draft, fields)
    yield from places.country_problems(draft, fields)
    yield from places.distance_problems(draft, everything)
    yield from places.size_problems(boundaries.file, everything)
    yield from places.overlap_problems(boundaries.file, fields, neighbours)
