"""Sources that could never be relied on as they are told."""

from collections.abc import Iterator

import jmespath
from jmespath.exceptions import JMESPathError

from watcher.farm.feeds import MappedJson, PushStation, Source, observes
from watcher.farm.problems import Problem
from watcher.farm.reading import Draft
from watcher.farm.slips import assigned, dotted


def source_problems(draft: Draft) -> Iterator[Problem]:
    """Sources always stale, sensors without a height, and mappings that map nothing."""
    for name, source in draft.told.sources.items():
        rhythm = "interval" if isinstance(source, PushStation) else "every"
        if source.silent_after < getattr(source, rhythm):
            wrong = f"is shorter than {rhythm}: every reading would be stale before the next"
            yield draft.problem(dotted(("sources", name, "silent_after")), wrong, "make it longer")
        yield from _height_problems(draft, name, source)
        if isinstance(source, MappedJson):
            yield from _mapping_problems(draft, name, source)


def _height_problems(draft: Draft, name: str, source: Source) -> Iterator[Problem]:
    heights, measured = source.heights, "temperature_upper" in source.measures
    upper = heights.temperature_upper
    key = dotted(("sources", name, "heights", "temperature_upper"))
    if upper is None and measured and observes(source):
        yield draft.problem(key, "is missing, and it is measured", "say how high it hangs")
    if upper is not None and upper <= heights.temperature:
        wrong = "is not above the other thermometer"
        yield draft.problem(key, wrong, "say how high each hangs above the ground")


def _mapping_problems(draft: Draft, name: str, source: MappedJson) -> Iterator[Problem]:
    expressions = {("times",): source.times} | {
        ("quantities", quantity, "at"): mapped.at for quantity, mapped in source.quantities.items()
    }
    if source.issued is not None:
        expressions["issued",] = source.issued
    for steps, expression in expressions.items():
        try:
            jmespath.compile(expression)
        except JMESPathError as error:
            key = assigned(("sources", name, *steps), expression)
            wrong = f"is not a JMESPath expression: {str(error).splitlines()[0]}"
            yield draft.problem(key, wrong, "see jmespath.org for how it is written")
    unmapped = sorted(set(source.measures) - source.quantities.keys())
    if source.gives == "observations" and unmapped:
        wrong = f"lists {', '.join(unmapped)}, which quantities do not map"
        mend = "map them, or list under measures only what is measured"
        yield draft.problem(dotted(("sources", name, "measures")), wrong, mend)
    if not source.quantities:
        key = dotted(("sources", name, "quantities"))
        yield draft.problem(key, "is empty", "map at least one quantity")
