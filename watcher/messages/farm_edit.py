"""What is said of a change of the farm: what it would come to, and whose word it loosens."""

from collections.abc import Collection, Iterator

from watcher.farm.editing.difference import FarmChange
from watcher.farm.editing.loosening import Loosened
from watcher.farm.validation_messages import dotted
from watcher.i18n.message import Message, Name, Number, joined, say, say_n
from watcher.judge.farm_effect import Effect
from watcher.limits.status import Status
from watcher.messages.vocabulary import ORIGIN_WORDS, STATUS_WORDS

_WORTH_SAYING_H = 0.25
LABEL_CHANGED = say("The label or law itself changed, and I have its new words in hand.")


def effect_lines(effect: Effect) -> list[Message]:
    """Say what a change would come to, the gravest first; that nothing would, where that is so."""
    lines = [*_now(effect), *_ahead(effect)]
    if effect.first_before != effect.first_after and effect.first_after is not None:
        lines.append(say("{field} would come first", field=Name(effect.first_after)))
    if lines:
        return lines
    fields = effect.fields
    if fields and all(f.hours_before is None and f.hours_after is None for f in fields):
        return [say("What it would change is not known: nothing is foretold")]
    return [say("Nothing would open or close in the next two days")]


def _now(effect: Effect) -> Iterator[Message]:
    """What would be otherwise at this moment."""
    moved = [f for f in effect.fields if f.before is not f.after]
    gone = [f.field for f in moved if f.after is None]
    new = [f.field for f in moved if f.before is None]
    # What is not known is neither open nor closed.
    closes = [f.field for f in moved if _open(f.before) and f.after is Status.UNSUITABLE]
    opens = [f.field for f in moved if _open(f.after) and f.before is Status.UNSUITABLE]
    if closes:
        n, names = len(closes), _names(closes)
        yield say_n(
            "{n} field would close now: {names}",
            "{n} fields would close now: {names}",
            n,
            names=names,
        )
    if opens:
        n, names = len(opens), _names(opens)
        yield say_n(
            "{n} field would open now: {names}",
            "{n} fields would open now: {names}",
            n,
            names=names,
        )
    if gone:
        yield say("No longer ranked: {names}", names=_names(gone))
    if new:
        yield say("Ranked from now on: {names}", names=_names(new))
    named = {*closes, *opens, *gone, *new}
    for one in moved:
        if one.field not in named and one.before is not None and one.after is not None:
            yield say(
                "{field} would be {after} now instead of {before}",
                field=Name(one.field),
                after=STATUS_WORDS[one.after],
                before=STATUS_WORDS[one.before],
            )


def _ahead(effect: Effect) -> Iterator[Message]:
    """How many hours of the next two days would be open or closed."""
    for one in effect.fields:
        before, after = one.hours_before, one.hours_after
        if before is None or after is None or abs(after - before) < _WORTH_SAYING_H:
            continue
        field, now, then = Name(one.field), _hours(before), _hours(after)
        if after > before:
            yield say(
                "{field}: {more} h more in the next two days, {then} h instead of {now} h",
                field=field,
                more=_hours(after - before),
                then=then,
                now=now,
            )
        else:
            yield say(
                "{field}: {less} h less in the next two days, {then} h instead of {now} h",
                field=field,
                less=_hours(before - after),
                then=then,
                now=now,
            )


def _hours(hours: float) -> Message:
    return Number(f"{hours:.1f}".removesuffix(".0"))


def _open(status: Status | None) -> bool:
    return status is not None and status >= Status.MARGINAL


def _names(fields: Collection[str]) -> Message:
    return joined([Name(field) for field in fields])


def change_line(change: FarmChange) -> Message:
    """Say one place that changes, with what stands there before and after."""
    nothing = say("nothing")
    return say(
        "{key}: {before} → {after}",
        key=change.key,
        before=nothing if change.before is None else change.before,
        after=nothing if change.after is None else change.after,
    )


def loosened_line(one: Loosened) -> Message:
    """Say whose word would ask for less."""
    return say(
        "{key} is not yours ({whose}): it would allow more than before",
        key=dotted(one.at),
        whose=ORIGIN_WORDS[one.origin],
    )


def held_line(fields: Collection[str]) -> Message:
    """Say that running jobs keep the rules they began with."""
    return say("What a job under way goes by changes when it ends: {names}", names=_names(fields))
