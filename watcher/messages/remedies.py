"""What would help a job that is stopped, or a field that is not open, and what each costs."""

import math
from collections.abc import Iterator, Sequence

from watcher.i18n.message import (
    Message,
    Name,
    Number,
    Sentence,
    ShownQuantity,
    WallTime,
    joined,
    say,
    say_n,
)
from watcher.judge.remedies import Change, ChangeKind, Remedy
from watcher.messages.reasons import Speaker
from watcher.messages.words import span
from watcher.units import Kind

FIRST = 2
"""As many are said where there is little room."""


def remedy_lines(
    speaker: Speaker, found: Sequence[Remedy], now: int, *, most: int | None = None
) -> list[Message]:
    """Return remedies as sentences, the best first. ``now`` is epoch seconds."""
    return [Sentence(remedy_line(speaker, remedy, now)) for remedy in found[:most]]


def first_lines(speaker: Speaker, found: Sequence[Remedy], now: int) -> list[Message]:
    """Return the first few without waiting, which a message says in a line of its own."""
    doing = [r for r in found if r.changes[0].kind is not ChangeKind.WAIT]
    return remedy_lines(speaker, doing, now, most=FIRST)


def remedy_line(speaker: Speaker, remedy: Remedy, now: int) -> Message:
    """Return what to do, what it gains and what it costs, without a full stop."""
    what = joined((_change(speaker, change, now) for change in remedy.changes), " + ")
    return say("{what}: {gain}", what=what, gain=joined(_gains(speaker, remedy, now), "; "))


def _change(speaker: Speaker, change: Change, now: int) -> Message:
    system, name = speaker.system, Name(change.name)
    if change.kind is ChangeKind.TIPS:
        return _tips(change)
    if change.kind is ChangeKind.BOOM:
        height = ShownQuantity(change.value, Kind.SMALL_LENGTH, system)
        return say("lower the boom to {height}", height=height)
    if change.kind is ChangeKind.SLOWER:
        return say("slow to {speed}", speed=ShownQuantity(change.value, Kind.SPEED, system, 1))
    if change.kind is ChangeKind.RETARDANT:
        retardant = speaker.farm.config.products[change.name].retardant
        return say(
            "add {product}, from a third to a half of {most}, its label's maximum",
            product=name,
            most="" if retardant is None else retardant.most,
        )
    if change.kind is ChangeKind.STRIPS:
        return say_n(
            "leave {n} pass beside {who} and spray the rest first",
            "leave {n} passes beside {who} and spray the rest first",
            change.passes,
            who=joined(map(Name, change.neighbours)),
        )
    return _elsewhere(speaker, change, now)


def _tips(change: Change) -> Message:
    setup = Name(change.name)
    if change.by_hand:
        return say("change to the tips of {setup} by hand", setup=setup)
    if change.takes_s:
        return say("turn to the tips of {setup}", setup=setup)
    return say("use {setup}", setup=setup)


def _elsewhere(speaker: Speaker, change: Change, now: int) -> Message:
    if change.kind is ChangeKind.FIELD:
        return say("go to {field}", field=Name(change.name))
    return say("wait until {clock}", clock=WallTime(int(change.value), now, speaker.farm.zone))


def _gains(speaker: Speaker, remedy: Remedy, now: int) -> Iterator[Message]:
    waits = remedy.changes[0].kind is ChangeKind.WAIT
    clock = WallTime(remedy.until, now, speaker.farm.zone)
    if waits and remedy.whole:
        yield say("in the forecast inside the limits for all that is left")
    elif waits:
        yield say("in the forecast inside the limits until {clock}", clock=clock)
    elif remedy.whole:
        yield say("inside the limits for all that is left")
    else:
        yield say("inside the limits until {clock}", clock=clock)
    if math.isfinite(remedy.drift_before) and remedy.drift_before > 1.0:
        yield say(
            "drift {before} down to {after} times what the neighbour stands",
            before=Number(f"{remedy.drift_before:.2g}"),
            after=Number(f"{remedy.drift_after:.2g}"),
        )
    points = round(remedy.loss_pct)
    if points > 0:
        yield say("{n} points less control", n=points)
    if remedy.takes_s >= 60.0 and not waits:
        yield say("takes about {span}", span=span(remedy.takes_s))
    if remedy.left_m2:
        area = ShownQuantity(remedy.left_m2, Kind.AREA, speaker.system, 1)
        yield say("{area} left unsprayed", area=area)
