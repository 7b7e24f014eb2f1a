"""Read a farm file and its boundaries, check everything, and say all that is wrong at once."""

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from watcher.farm import Farm
from watcher.farm.geometry.boundaries import Boundaries, read_boundaries
from watcher.farm.geometry.ground import Ground, Polygonal
from watcher.farm.problems import FarmFileError, Problem
from watcher.farm.read_file import Draft, Read, read_draft, text_of
from watcher.farm.validation import (
    losses,
    names,
    people,
    places,
    rules,
    setups,
    sources,
    ways,
    windows,
)

__all__ = ["FarmFileError", "load"]


def load(path: Path, read: Read = text_of, *, seen: Callable[[], bool] = lambda: False) -> Farm:
    """Read the farm file at ``path`` and the boundaries it names, with ``read``.

    ``seen`` says, once both are read, whether the very same texts passed before. The map of time
    zones is then left alone: its library takes 7 MiB for good and 0.05 s.

    Raises ``FarmFileError`` listing everything that is wrong in both, each with file, key, value
    and mend. What cannot be read is left out of the checks across entries, not the whole file.
    """
    draft = read_draft(path, read)
    boundaries = read_boundaries(draft.fields_file, read)
    ground = Ground(
        fields_deg=_of(boundaries, draft.names("fields")),
        neighbours_deg=_of(boundaries, draft.names("neighbours")),
    )
    problems = [*draft.problems, *_entry_problems(draft)]
    problems += [*boundaries.problems, *_place_problems(draft, boundaries, ground)]
    if not seen():
        problems += _zone_problems(draft, ground.fields_deg)
    if problems:
        raise FarmFileError(list(dict.fromkeys(problems)), draft.language)
    return Farm(draft.config, ground)


def _of(boundaries: Boundaries, names: tuple[str, ...]) -> Mapping[str, Polygonal]:
    return {name: boundaries.shapes[name] for name in names if name in boundaries.shapes}


def _entry_problems(draft: Draft) -> Iterator[Problem]:
    yield from names.unknown_names(draft)
    yield from setups.setup_problems(draft)
    yield from losses.loss_problems(draft)
    yield from windows.window_problems(draft)
    yield from windows.field_problems(draft)
    yield from rules.rule_problems(draft)
    yield from rules.mix_problems(draft)
    yield from sources.source_problems(draft)
    yield from people.people_problems(draft)
    yield from people.driver_problems(draft)
    yield from ways.way_problems(draft)


def _place_problems(draft: Draft, boundaries: Boundaries, ground: Ground) -> Iterator[Problem]:
    fields, neighbours = ground.fields_deg, ground.neighbours_deg
    everything = {**fields, **neighbours}
    yield from names.unmatched_boundaries(draft, boundaries)
    yield from windows.night_problems(draft, fields)
    yield from places.distance_problems(draft, everything)
    yield from ways.short_ways(draft, ground)
    yield from places.size_problems(boundaries.file, everything)
    yield from places.overlap_problems(boundaries.file, fields, neighbours)


def _zone_problems(draft: Draft, fields: Mapping[str, Polygonal]) -> Iterator[Problem]:
    yield from places.zone_problems(draft, fields)
    yield from places.country_problems(draft, fields)
