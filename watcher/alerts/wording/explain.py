"""One field with one setup at one time, explained: everything the judgement rests on."""

from collections.abc import Iterator

from watcher.alerts.wording.air import air_line, drop_lines, inversion_lines
from watcher.alerts.wording.drift import exposed_line, mend_line
from watcher.alerts.wording.end_rows import end_row_lines
from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.setups import advice_lines, setup_lines
from watcher.alerts.wording.words import SHAPES, clock, name
from watcher.judge.drops_in_air import drops_in_air
from watcher.judge.end_rows import end_rows
from watcher.judge.exposed import exposed, mends
from watcher.judge.judgement import Judgement
from watcher.judge.reasons import reasons
from watcher.judge.setup_advice import advise, advise_on
from watcher.judge.status import Status

Part = tuple[str, list[str]]
"""A heading and what is said under it."""


def headline_of(
    speaker: Speaker, judgement: Judgement, case: tuple[int, int, int], now: int
) -> str:
    """Return the field, the setup, the time and the status as one line."""
    field, setup, time = case
    status = Status(int(judgement.status[case]))
    at = clock(int(judgement.series.times[time]), now, speaker.farm.zone)
    plan = judgement.plan
    with_what = f"{name(plan.fields[field])} with {name(plan.setups[setup])}"
    return f"{SHAPES[status]} {with_what}, {at}: {status.word}"


def explanation(
    speaker: Speaker, judgement: Judgement, case: tuple[int, int, int]
) -> Iterator[Part]:
    """Explain one field, setup and time (``case``, as indices), part by part."""
    field, _, time = case
    where = judgement.plan.fields[field]
    yield "Weather", [air_line(speaker, judgement, case)]
    yield (
        "Limits",
        [f"{r.stand.name.lower():8}{speaker.reason(where, r)}" for r in reasons(judgement, *case)],
    )
    yield "Drift", _drift(speaker, judgement, case)
    yield "Drops", drop_lines(drops_in_air(judgement, *case), speaker.system)
    yield "Stability", inversion_lines(speaker, judgement.inversion, time)
    yield "Setups", advice_lines(speaker, advise(judgement, field, time))
    yield "This setup", setup_lines(speaker, advise_on(judgement, *case))
    yield "End rows", [*_closed(judgement, case), *_end_rows(speaker, judgement, case)]


def _end_rows(speaker: Speaker, judgement: Judgement, case: tuple[int, int, int]) -> list[str]:
    at = int(judgement.series.times[case[2]])
    return end_row_lines(speaker, end_rows(judgement, *case), at)


def _closed(judgement: Judgement, case: tuple[int, int, int]) -> list[str]:
    if judgement.status[case] >= Status.MARGINAL:
        return []
    return ["The field is not open with this setup; the order is what this wind would ask for."]


def _drift(speaker: Speaker, judgement: Judgement, case: tuple[int, int, int]) -> list[str]:
    found = exposed(judgement, *case)
    said = [f"{exposed_line(neighbour, speaker.system)}." for neighbour in found]
    if any(neighbour.over for neighbour in found):
        said.append(mend_line(mends(judgement, *case)))
    return said or ["No neighbour in reach."]
