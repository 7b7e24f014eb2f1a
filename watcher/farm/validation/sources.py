"""Sources that could never be relied on as they are written."""

import re
from collections.abc import Iterator

from watcher.farm.feeds import MappedJson, Source, observes
from watcher.farm.problems import Problem
from watcher.farm.read_file import Draft
from watcher.farm.stations import MqttStation, PushStation
from watcher.farm.validation.stations import given, station_problems
from watcher.farm.validation_messages import assigned, dotted
from watcher.i18n.message import say

_NAME = re.compile(r"[\w .:/%°()-]+")


def source_problems(draft: Draft) -> Iterator[Problem]:
    """Sources always stale, sensors without a height, and mappings that map nothing."""
    for name, source in draft.config.sources.items():
        yield from _rhythm_problems(draft, name, source)
        yield from _height_problems(draft, name, source)
        yield from _expression_problems(draft, name, source)
        yield from _measured_problems(draft, name, source)
        yield from station_problems(draft, name, source)


def _rhythm_problems(draft: Draft, name: str, source: Source) -> Iterator[Problem]:
    for rhythm in ("every", "interval"):
        if source.silent_after < getattr(source, rhythm, 0.0):
            wrong = say(
                "is shorter than {rhythm}: every reading would be stale before the next",
                rhythm=rhythm,
            )
            key = dotted(("sources", name, "silent_after"))
            yield draft.problem(key, wrong, say("make it longer"))


def _height_problems(draft: Draft, name: str, source: Source) -> Iterator[Problem]:
    heights, measured = source.heights, "temperature_upper" in source.measures
    upper = heights.temperature_upper
    key = dotted(("sources", name, "heights", "temperature_upper"))
    if upper is None and measured and observes(source):
        wrong = say("is missing, and it is measured")
        yield draft.problem(key, wrong, say("say how high it hangs"))
    if upper is not None and upper <= heights.temperature:
        wrong = say("is not above the other thermometer")
        yield draft.problem(key, wrong, say("say how high each hangs above the ground"))
    if observes(source) and "wind" in source.measures and heights.canopy >= heights.wind:
        wrong = say("is not below the wind sensor")
        key = dotted(("sources", name, "heights", "canopy"))
        yield draft.problem(key, wrong, say("say how high what grows around the sensor is"))


def _expression_problems(draft: Draft, name: str, source: Source) -> Iterator[Problem]:
    for steps, expression in _expressions(source).items():
        import jmespath  # noqa: PLC0415 - for mapped sources only

        try:
            jmespath.compile(expression)
        except jmespath.exceptions.JMESPathError as error:
            if isinstance(source, MqttStation | PushStation) and _NAME.fullmatch(expression):
                continue  # a name as it is sent: "wind-avg"
            key = assigned(("sources", name, *steps), expression)
            why = str(error).splitlines()[0]
            wrong = say("is not a JMESPath expression: {why}", why=why)
            yield draft.problem(key, wrong, say("see jmespath.org for how it is written"))


def _expressions(source: Source) -> dict[tuple[str, ...], str]:
    match source:
        case MappedJson():
            alone = {("times",): source.times, ("issued",): source.issued}
        case MqttStation():
            alone = {("time",): source.time}
        case PushStation():
            alone = {("time",): source.time, ("readings",): source.readings}
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
        wrong = say("lists {quantities}, {why}", quantities=", ".join(unmapped), why=why)
        mend = say("list under measures only what is measured, and map that")
        yield draft.problem(dotted(("sources", name, "measures")), wrong, mend)
    if not mapped:
        key = dotted(("sources", name, "quantities"))
        yield draft.problem(key, say("is empty"), say("map at least one quantity"))
