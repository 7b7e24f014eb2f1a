"""What is said of the sources of weather: in alerts, on the page, by commands, in answers."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

from watcher.i18n.message import Joined, Message, Name, WallTime, joined, say
from watcher.limits.status import Status
from watcher.messages.reasons import Speaker
from watcher.messages.text import Text, headline_of
from watcher.messages.words import SHAPES, span
from watcher.source_view import Doubted, SourceView
from watcher.sources.base import Flag
from watcher.store.refused import Refused
from watcher.weather.quantities import CATALOGUE

FindingKind = Literal[
    "silent",
    "clock",
    "wrong token",
    "not understood",
    "failing",
    "unit",
    "not believed",
    "implausible",
    "stuck",
    "disagrees",
    "doubted",
    "not read",
]

_DO = say("Fields that hang on it are unknown until it is mended: rely on a hand-held reading.")
QUANTITY_WORDS = {quantity.column: quantity.words for quantity in CATALOGUE}
"""Quantities as a grower calls them."""
_WORDS: dict[str, Message] = {
    "source silent": say("silent"),
    "source stuck": say("stuck"),
    "source implausible": say("implausible"),
    "source clock ahead": say("clock ahead"),
    "source distrusted": say("not believed"),
    "source disagrees": say("disagrees"),
}

_LOOK_AT_THE_SENSOR = say("Look at the sensor: it may be jammed, iced or badly wired.")
_LOOK_AT_ITS_UNIT = say("Look at the sensor, its cable and the unit it is sent in.")
_COMPARE = say("Compare it with a hand-held reading.")
_POWER = say("See that it has power and that its line to this machine works.")
_SET_CLOCK = say("Set its clock by the network, and see that it sends UTC or its own offset.")
_SEND_AT_ONCE = say("Set its clock by the network, or let it send each reading at once.")
_NAME_UNIT = say("Name the unit that it really measures in.")
_GIVE_IT_OURS = say("Give the station the token that stands in the settings of the watch.")
_CORRECT_BODY = say("Correct what it sends, as the answer to the post says.")
_TRIED_AGAIN = say("It is tried again by itself; if this goes on, see to what it says.")
# By the kind of a finding of quantities: the mend.
_MENDS: dict[FindingKind, Message] = {
    "stuck": _LOOK_AT_THE_SENSOR,
    "implausible": _LOOK_AT_ITS_UNIT,
    "not believed": say(
        "Mend the sensor; it is believed again when fewer than a quarter of a day's values fail."
    ),
    "disagrees": say("Compare both with a hand-held reading."),
}
_MAP_IT = say(
    "If it is weather, map it under quantities in the farm file; else nothing is to be done."
)
_MOST_NAMES = 8
_FOUND: dict[Flag, tuple[Message, Message]] = {
    Flag.RANGE: (say("out of range"), _LOOK_AT_ITS_UNIT),
    Flag.STEP: (say("a jump"), say("Look at the cable and the power of the sensor.")),
    Flag.STUCK: (say("standing still"), _LOOK_AT_THE_SENSOR),
    Flag.INCONSISTENT: (
        say("a contradiction to another value of the same second"),
        say("Compare both sensors with a hand-held reading."),
    ),
    Flag.SUSPECT_SOURCE: (
        say("doubted by the station itself"),
        say("See what the station says of it."),
    ),
    Flag.FUTURE: (say("dated ahead of now"), _SET_CLOCK),
    Flag.DISAGREES: (say("far from all others"), _COMPARE),
    Flag.UNIT_SUSPECTED: (say("as if in another unit"), _NAME_UNIT),
}
_OTHER_FINDING = (say("doubtful"), _COMPARE)
_TOLD_IN: dict[str, tuple[FindingKind, ...]] = {
    "source silent": ("silent", "wrong token", "not understood"),
    "source stuck": ("stuck",),
    "source implausible": ("implausible", "unit"),
    "source clock ahead": ("clock",),
    "source distrusted": ("not believed",),
    "source disagrees": ("disagrees",),
}
"""Which findings an alert of a kind tells."""


@dataclass(frozen=True)
class SourceFinding:
    """Something that is not as it should be with a source: a stable word, a sentence, the mend."""

    kind: FindingKind
    sentence: Message
    mend: Message


def state(source: SourceView) -> tuple[str, Message]:
    """Return a source's state, as a shape and a word."""
    not_known, partly = SHAPES[Status.UNKNOWN], SHAPES[Status.MARGINAL]
    if source.clock_runs_ahead:
        return not_known, say("clock ahead, not relied on")
    if source.age_s is None:
        return not_known, say("never heard")
    if source.silent:
        return not_known, say("stale, not relied on")
    if source.distrusted:
        return not_known, say("not believed")
    if source.units or source.stuck or source.implausible or source.disagrees:
        return partly, say("doubted")
    return SHAPES[Status.SUITABLE], say("fresh")


def heard(source: SourceView) -> Message:
    """Say how often a source reports and when it last did."""
    if source.heard_s is not None and (source.clock_runs_ahead or source.age_s is None):
        last = say("last came in {span} ago", span=span(source.heard_s))
    elif source.age_s is not None:
        last = say("last {span} ago", span=span(source.age_s))
    else:
        return say("never heard")
    if source.interval_s is None:
        return last
    return say("reports every {span}, {last}", span=_seconds(source.interval_s), last=last)


def findings(source: SourceView, now: int, zone: ZoneInfo) -> list[SourceFinding]:
    """Say everything that is not as it should be with a source, the worst first."""
    return list(_findings(source, now, zone))


def _findings(source: SourceView, now: int, zone: ZoneInfo) -> Iterator[SourceFinding]:
    if source.silent and not source.clock_runs_ahead:
        yield SourceFinding("silent", _silence(source, now, zone), _POWER)
    yield from _of_clock(source)
    yield from _of_posts(source, now)
    if source.failures_in_a_row and not source.silent:
        failed = say(
            "failed times in a row: {n}, last: {why}",
            n=source.failures_in_a_row,
            why=Name(source.why or "", 200),
        )
        yield SourceFinding("failing", failed, _TRIED_AGAIN)
    for quantity, unit in source.units.items():
        looks = say("{quantity} looks like {unit}", quantity=QUANTITY_WORDS[quantity], unit=unit)
        yield SourceFinding("unit", looks, _NAME_UNIT)
    for kind, quantities in _by_kind(source).items():
        for quantity in quantities:
            yield SourceFinding(kind, _of_quantities(kind, QUANTITY_WORDS[quantity]), _MENDS[kind])
    for doubted in source.doubted:
        yield _of_doubted(doubted)
    if source.ignored:
        yield SourceFinding("not read", _not_read(source.ignored), _MAP_IT)


def _not_read(ignored: Sequence[str]) -> Message:
    names = Joined(tuple(Name(each, 30) for each in ignored[:_MOST_NAMES]))
    more = len(ignored) - _MOST_NAMES
    if more > 0:
        return say("sends what is not read: {names} and {n} more", names=names, n=more)
    return say("sends what is not read: {names}", names=names)


def _by_kind(source: SourceView) -> dict[FindingKind, tuple[str, ...]]:
    return {
        "not believed": source.distrusted,
        "implausible": source.implausible,
        "stuck": source.stuck,
        "disagrees": source.disagrees,
    }


def _of_quantities(kind: FindingKind, quantities: Message) -> Message:
    """What is found of one quantity or several."""
    match kind:
        case "stuck":
            return say("{quantities} stands still and is not used", quantities=quantities)
        case "implausible":
            return say("{quantities} says what cannot be; it is not used", quantities=quantities)
        case "not believed":
            return say(
                "{quantities} failed the checks too often in the last day and is not believed "
                "until it improves; the next source speaks, or nobody",
                quantities=quantities,
            )
        case _:
            return say(
                "{quantities} is far from the forecast for this hour: one of them is wrong",
                quantities=quantities,
            )


def _of_clock(source: SourceView) -> Iterator[SourceFinding]:
    ahead = source.clock_ahead_s
    if ahead is not None and ahead > 0:
        wrong_clock = say("its clock is {n} s ahead; its readings are not used", n=ahead)
        yield SourceFinding("clock", wrong_clock, _SET_CLOCK)
    elif source.ahead:
        dated = say("sent readings dated ahead of now in the last hour; they are not used")
        yield SourceFinding("clock", dated, _SET_CLOCK)
    elif ahead is not None:
        late = say(
            "its readings are dated {n} s before they come in: its clock is behind, or it "
            "sends late",
            n=-ahead,
        )
        yield SourceFinding("clock", late, _SEND_AT_ONCE)


def _of_posts(source: SourceView, now: int) -> Iterator[SourceFinding]:
    token, body = source.refused.get("token"), source.refused.get("body")
    if token is not None:
        yield SourceFinding("wrong token", wrong_tokens(token, now), _GIVE_IT_OURS)
    if body is not None:
        refused = say(
            "posts not understood in the last day: {n}, the last {span} ago: {why}",
            n=body.count,
            span=_since(body, now),
            why=_plain(body.why),
        )
        yield SourceFinding("not understood", refused, _CORRECT_BODY)


def wrong_tokens(refused: Refused, now: int) -> Message:
    """Say how many posts with a wrong token there were, when last, and from where."""
    return say(
        "posts with a wrong token in the last day: {n}, the last {span} ago, from {addresses}",
        n=refused.count,
        span=_since(refused, now),
        addresses=_addresses(refused),
    )


def strange_names(refused: Refused, now: int) -> Message:
    """Say that there were posts in names no station has; what the last one was called."""
    return say(
        "posts in a name no station has in the last day: {n}, the last {span} ago, from "
        "{addresses}; the last name was {name}",
        n=refused.count,
        span=_since(refused, now),
        addresses=_addresses(refused),
        name=Name(refused.why),
    )


def _since(refused: Refused, now: int) -> Message:
    return span(max(0, now - refused.last_at))


def _addresses(refused: Refused) -> str:
    return ", ".join(reversed(refused.addresses))


def _of_doubted(doubted: Doubted) -> SourceFinding:
    found, mend = _FOUND.get(doubted.most, _OTHER_FINDING)
    sentence = say(
        "{quantity}: {n} of {whole} values of the last day doubted, {share}, most often: {found}",
        quantity=QUANTITY_WORDS[doubted.quantity],
        n=doubted.count,
        whole=doubted.of,
        share=f"{doubted.share:.0%}",
        found=found,
    )
    return SourceFinding("doubted", sentence, mend)


def finding_word(flag: Flag) -> Message:
    """Return one finding of quality control in words."""
    return _FOUND.get(flag, _OTHER_FINDING)[0]


def finding_words(bits: int) -> list[Message]:
    """Return what quality control found in a value, in words."""
    return [finding_word(flag) for flag in Flag(bits)]


def wrong(speaker: Speaker, found: Sequence[tuple[str, SourceView]], now: int) -> Text:
    """Say what is wrong with which source; ``found`` are kinds of conditions and the sources."""
    items = [joined([Name(source.name, 16), _WORDS[kind]], " ") for kind, source in found]
    lines = [line for kind, source in found for line in _lines(speaker, kind, source, now)]
    return Text(title=headline_of(say("Weather:"), items), lines=(*dict.fromkeys(lines), _DO))


def quantity_names(quantities: Iterable[str]) -> Message:
    """Return quantities as a grower calls them."""
    return joined(QUANTITY_WORDS[quantity] for quantity in quantities)


def back(names: Sequence[str]) -> Text:
    """Say which sources are well again."""
    return Text(
        title=headline_of(say("Weather back:"), [Name(n, 20) for n in names]),
        lines=tuple(say("{source} is well again.", source=Name(n)) for n in names),
    )


def _lines(speaker: Speaker, kind: str, source: SourceView, now: int) -> Iterator[Message]:
    """Yield what an alert of a kind says of a source: the same sentences, then their mends."""
    who = Name(source.name)
    of_kind = [f for f in findings(source, now, speaker.farm.zone) if f.kind in _TOLD_IN[kind]]
    for finding_kind in (k for k in _TOLD_IN[kind] if k in _MENDS):
        quantities = _by_kind(source)[finding_kind]
        if quantities:
            sentence = _of_quantities(finding_kind, quantity_names(quantities))
            yield say("{source}: {finding}.", source=who, finding=sentence)
    for finding in (finding for finding in of_kind if finding.kind not in _MENDS):
        if finding.kind == "silent":
            yield say("{source} {finding}.", source=who, finding=finding.sentence)
        else:
            yield say("{source}: {finding}.", source=who, finding=finding.sentence)
    if not of_kind:  # said again before it counts as well again
        yield say("{source}: {finding} within the last hour.", source=who, finding=_WORDS[kind])
    yield from dict.fromkeys(finding.mend for finding in of_kind)


def _silence(source: SourceView, now: int, zone: ZoneInfo) -> Message:
    if source.age_s is None:
        silence: Message = say("has not given anything yet")
    else:
        silence = say(
            "has been silent for {span}, since {clock}",
            span=span(source.age_s),
            clock=WallTime(now - source.age_s, now, zone),
        )
    if source.why:
        return joined([silence, joined(["(", Name(source.why, 120), ")"], "")], " ")
    return silence


def _seconds(seconds: float) -> Message:
    """A span as an interval is written: 60 s, and not a minute."""
    return say("{n} s", n=f"{seconds:.0f}") if seconds < 120 else span(seconds)


def _plain(why: str) -> str:
    return "".join(c if c.isprintable() else " " for c in why)[:200]
