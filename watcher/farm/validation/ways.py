"""Ways between fields that lead nowhere, are given twice or not at all, or are too short."""

from collections.abc import Iterator, Mapping

from watcher.farm.geometry.ground import Ground
from watcher.farm.planning import Way
from watcher.farm.problems import Problem, did_you_mean
from watcher.farm.read_file import Draft
from watcher.farm.validation_messages import Steps, assigned, dotted
from watcher.i18n.message import ShownQuantity, say
from watcher.units import Kind

_STEPS = ("planning", "ways")
_FAR_LESS = 0.95
"""A road this share of the straight line is a mistake; one a little shorter is a rounded number."""


def way_problems(draft: Draft) -> Iterator[Problem]:
    """Ways that are not between two fields of the farm, or say too little or too much."""
    seen: set[frozenset[str]] = set()
    for place, way in enumerate(draft.config.planning.ways):
        steps = (*_STEPS, place)
        ends = frozenset(way.between)
        if len(way.between) != 2 or len(ends) != 2:
            wrong, mend = say("is not between two fields"), say('write two: ["one", "other"]')
            yield draft.problem(dotted((*steps, "between")), wrong, mend)
        elif ends in seen:
            wrong = say("this way is given already")
            yield draft.problem(dotted((*steps, "between")), wrong, say("keep one of the two"))
        seen.add(ends)
        yield from _unknown(draft, steps, way)
        if (way.takes is None) == (way.distance is None):
            wrong = say("must say either how long it takes or how long the road is")
            mend = say('write takes = "25 min" or distance = "6 mi", not both')
            yield draft.problem(dotted(steps), wrong, mend)


def _unknown(draft: Draft, steps: Steps, way: Way) -> Iterator[Problem]:
    known = draft.names("fields")
    for name in way.between:
        if name not in known:
            wrong = say("there is no [{table}.{word}]", table="fields", word=name)
            mend = did_you_mean(name, known, "fields")
            yield draft.problem(assigned((*steps, "between"), name), wrong, mend)


def short_ways(draft: Draft, ground: Ground) -> Iterator[Problem]:
    """Roads that are shorter than the straight line between the fields."""
    for place, way in enumerate(draft.config.planning.ways):
        if way.distance is None or not _has_both(ground.fields_deg, way):
            continue
        one, other = (ground.fields[name] for name in way.between)
        straight = float(one.distance(other))
        if way.distance < _FAR_LESS * straight:
            apart = ShownQuantity(straight, Kind.LENGTH, draft.config.farm.units)
            wrong = say("the fields lie {straight} apart in a straight line", straight=apart)
            mend = say("check the number and its unit")
            yield draft.problem(dotted((*_STEPS, place, "distance")), wrong, mend)


def _has_both(shapes: Mapping[str, object], way: Way) -> bool:
    return len(way.between) == 2 and all(name in shapes for name in way.between)
