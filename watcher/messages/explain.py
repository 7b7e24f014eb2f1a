"""One field with one setup at one time, explained: everything the judgement rests on."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from watcher.i18n.language import Language
from watcher.i18n.message import NAME_ROOM, Message, Name, WallTime, joined, say
from watcher.judge.drops_in_air import drops_in_air
from watcher.judge.end_rows import end_rows
from watcher.judge.judgement import Judgement
from watcher.judge.neighbour_deposits import mends, neighbour_deposits
from watcher.judge.reasons import Reason, reasons
from watcher.judge.remedies import Remedy
from watcher.judge.setup_advice import advise, advise_on
from watcher.limits.status import Status
from watcher.messages.air import air_line, drop_lines, inversion_lines
from watcher.messages.drift import exposed_line, mend_line
from watcher.messages.end_rows import end_row_lines
from watcher.messages.reasons import Speaker
from watcher.messages.remedies import remedy_lines
from watcher.messages.setups import advice_lines, setup_lines
from watcher.messages.vocabulary import STATE_WORDS, STATUS_WORDS
from watcher.messages.words import SHAPES

_COLUMN = 8


@dataclass(frozen=True)
class ExplanationPart:
    """A part of an explanation: its key, its heading and what is said under it."""

    key: str
    heading: Message
    lines: list[Message]


def headline_of(
    speaker: Speaker, judgement: Judgement, case: tuple[int, int, int], now: int
) -> Message:
    """Return the field, the setup, the time and the status as one line."""
    field, setup, time = case
    status = Status(int(judgement.status[case]))
    plan = judgement.plan
    return say(
        "{shape} {field} with {setup}, {clock}: {status}",
        shape=SHAPES[status],
        field=Name(plan.fields[field]),
        setup=Name(plan.setups[setup]),
        clock=WallTime(int(judgement.series.times[time]), now, speaker.farm.zone),
        status=STATUS_WORDS[status],
    )


def explanation(
    speaker: Speaker,
    judgement: Judgement,
    case: tuple[int, int, int],
    found_remedies: Sequence[Remedy] = (),
) -> Iterator[ExplanationPart]:
    """Explain one field, setup and time (``case``, as indices), part by part."""
    field, _, time = case
    where, found = judgement.plan.fields[field], reasons(judgement, *case)
    yield ExplanationPart("weather", say("Weather"), [air_line(speaker, judgement, case)])
    yield ExplanationPart("limits", say("Limits"), [limit_line(speaker, where, r) for r in found])
    if found_remedies:
        at = int(judgement.series.times[time])
        lines = remedy_lines(speaker, found_remedies, at)
        yield ExplanationPart("remedies", say("What would help"), lines)
    yield ExplanationPart("drift", say("Drift"), _drift(speaker, judgement, case))
    drops = drop_lines(drops_in_air(judgement, *case), speaker.system)
    yield ExplanationPart("drops", say("Drops"), drops)
    inversion = inversion_lines(speaker, judgement.inversion, time)
    yield ExplanationPart("stability", say("Stability"), inversion)
    yield ExplanationPart(
        "setups", say("Setups"), advice_lines(speaker, advise(judgement, field, time))
    )
    setup = setup_lines(speaker, advise_on(judgement, *case))
    yield ExplanationPart("this setup", say("This setup"), setup)
    rows = [*_closed(judgement, case), *_end_rows(speaker, judgement, case)]
    yield ExplanationPart("end rows", say("End rows"), rows)


def limit_line(speaker: Speaker, field: str, reason: Reason) -> Message:
    """Return one limit after the word for how it stands, as a line of a column."""
    return Column(STATE_WORDS[reason.stand], speaker.reason(field, reason))


@dataclass(frozen=True)
class Column(Message):
    """A word in a column of its own, then a text."""

    word: Message
    text: Message

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        word = self.word.render(language, names=names)
        return f"{word:{_COLUMN}}{self.text.render(language, names=names)}"


def _end_rows(speaker: Speaker, judgement: Judgement, case: tuple[int, int, int]) -> list[Message]:
    at = int(judgement.series.times[case[2]])
    return end_row_lines(speaker, end_rows(judgement, *case), at)


def _closed(judgement: Judgement, case: tuple[int, int, int]) -> list[Message]:
    if judgement.status[case] >= Status.MARGINAL:
        return []
    return [
        say("The field is not open with this setup; the order is what this wind would ask for.")
    ]


def _drift(speaker: Speaker, judgement: Judgement, case: tuple[int, int, int]) -> list[Message]:
    found = neighbour_deposits(judgement, *case)
    lines: list[Message] = [
        joined([exposed_line(neighbour, speaker.system), "."], "") for neighbour in found
    ]
    if any(neighbour.over for neighbour in found):
        lines.append(mend_line(mends(judgement, *case)))
    return lines or [say("No neighbour in reach.")]
