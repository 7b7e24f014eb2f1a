"""Sources that could never be relied on as they are told."""

from collections.abc import Iterator

import jmespath
from jmespath.exceptions import JMESPathError

from watcher.farm.checks.stations import given, station_problems
from watcher.farm.feeds import MappedJson, Source, observes
from watcher.farm.problems import Problem
from watcher.farm.reading import Draft
from watcher.farm.slips import assigned, dotted
from watcher.farm.stations import MqttStation


def source_problems(draft: Draft) -> Iterator[Problem]:
    """Sources always stale, sensors without a height, and mappings that map nothing."""
    for name, source in draft.told.sources.items():
        yield from _rhythm_problems(draft, name, source)
        yield from _height_problems(draft, name, source)
        yield from _expression_problems(draft, name, source)
        yield from _measured_problems(draft, name, source)
        yield from station_problems(draft, name, source)


def _rhythm_problems(draft: Draft, name: str, source: Source) -> Iterator[Problem]:
    for rhythm in ("every", "interval"):
        if source.silent_after < getattr(source, rhythm, 0.0):
            wrong = f"is shorter than {rhythm}: every reading would be stale before the next"
            yield draft.problem(dotted(("sources", name, "silent_after")), wrong, "make it longer")


def _height_problems(draft: Draft, name: str, source: Source) -> Iterator[Problem]:
    heights, measured = source.heights, "temperature_upper" in source.measures
    upper = heights.temperature_upper
    key = dotted(("sources", name, "heights", "temperature_upper"))
    if upper is None and measured and observes(source):
        yield draft.problem(key, "is missing, and it is measured", "say how high it hangs")
    if upper is not None and upper <= heights.temperature:
        wrong = "is not above the other thermometer"
        yield draft.problem(key, wrong, "say how high each hangs above the ground")


def _expression_problems(draft: Draft, name: str, source: Source) -> Iterator[Problem]:
    for steps, expression in _expressions(source).items():
        try:
            jmespath.compile(expression)
        except JMESPathError as error:
            key = assigned(("sources", name, *steps), expression)
            wrong = f"is not a JMESPath expression: {str(error).splitlines()[0]}"
            yield draft.problem(key, wrong, "see jmespath.org for how it is written")


def _expressions(source: Source) -> dict[tuple[str, ...], str]:
    match source:
        case MappedJson():
            alone = {("times",): source.times, ("issued",): source.issued}
        case MqttStation():
            alone = {("time",): source.time}
        case _:
            return {}
    given = {steps: at for steps, at in alone.items() if at is not None}
    return given | {("quantities", q, "at"): m.at for q, m in source.quantities.items()}


def _measured_problems(draft: Draft, name: str, source: Source) -> Iterator[Problem]:
    """What is listed as measured and never read would be missing for ever."""
    able = given(source)
    if able is None or not observes(source):
        return
    why, mapped = able
    unmapped = sorted(set(source.measures) - mapped)
    if unmapped:
        wrong = f"lists {', '.join(unmapped)}, which {why}"
        mend = "list under measures only what is measured, and map that"
        yield draft.problem(dotted(("sources", name, "measures")), wrong, mend)
    if not mapped:
        key = dotted(("sources", name, "quantities"))
        yield draft.problem(key, "is empty", "map at least one quantity")
