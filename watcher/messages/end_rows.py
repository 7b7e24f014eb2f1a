"""The sides of a field in the order to spray them, each with its reason."""

from collections.abc import Sequence
from itertools import groupby

from watcher.i18n.message import Message, Name, ShownQuantity, WallTime, joined, say, say_n
from watcher.judge.end_rows import ALL_ROUND, EndRow, Turn, Why
from watcher.messages.reasons import Speaker
from watcher.messages.vocabulary import POINTS
from watcher.units import Kind

_NOW: dict[Why, Message] = {
    Why.AWAY: say("the wind moves away from it"),
    Why.CALM: say("the air moves there, but it is calm"),
    Why.TOO_MUCH: say("more would land there than it stands"),
    Why.DOWNWIND: say("the wind blows there"),
    Why.NOT_CALM: say("only calm air will do beside it"),
    Why.NO_SPRAY: say("it lies downwind within the label's no-spray distance"),
    Why.STILL: say("still air goes anywhere"),
    Why.UNKNOWN: say("the wind or its direction is unknown"),
}


def end_row_lines(speaker: Speaker, rows: Sequence[EndRow], now: int) -> list[Message]:
    """Return the sides as a numbered list; those nobody minds are one entry."""
    lines: list[Message] = []
    for turn, alike in groupby(rows, key=lambda row: row.turn):
        together = list(alike)
        if turn is Turn.ANY_TIME:
            sides = _sides(together)
            lines.append(say("any time: {sides}; nobody who minds is in reach", sides=sides))
        else:
            lines += [_line(speaker, row, now) for row in together]
    return [
        say("{place} {line}", place=place, line=line) for place, line in enumerate(lines, start=1)
    ]


def _sides(rows: Sequence[EndRow]) -> Message:
    points = joined(_point(row.side) for row in rows)
    if len(rows) == 1:
        return say("{point} side", point=points)
    return say("{points} sides", points=points)


def _point(side: str | None) -> Message:
    return say("all round") if side == ALL_ROUND else POINTS[str(side)]


def _line(speaker: Speaker, row: EndRow, now: int) -> Message:
    system = speaker.system
    where: Message = say("{point} side", point=_point(row.side))
    if row.side == ALL_ROUND:
        where = say("round the yard")
    if row.length_m:
        length = ShownQuantity(row.length_m, Kind.LENGTH, system)
        where = joined([where, say("{length} long", length=length)])
    line = say(
        "{where}, {who} {gap} off: {why}",
        where=where,
        who=Name(row.neighbour or ""),
        gap=ShownQuantity(row.distance_m, Kind.LENGTH, system),
        why=_NOW[row.why],
    )
    if row.turn is Turn.FIRST:
        return say("first: {line}; {then}", line=line, then=_turning(speaker, row, now))
    return say("leave: {line}; {then}", line=line, then=_waiting(speaker, row, now))


def _turning(speaker: Speaker, row: EndRow, now: int) -> Message:
    if row.changes_at is None or row.then is None:
        return say("it may turn or rise")
    return say(
        "from {clock} {why} (from the {point})",
        clock=WallTime(row.changes_at, now, speaker.farm.zone),
        why=_NOW[row.then],
        point=_point(row.wind_from_then),
    )


def _waiting(speaker: Speaker, row: EndRow, now: int) -> Message:
    swaths: Message | None = None
    if row.leave_swaths:
        swaths = say_n("leave {n} swath", "leave {n} swaths", row.leave_swaths)
    if row.changes_at is None:
        return swaths or say("no better hour in the forecast")
    wait = say(
        "wait for {clock}, wind from the {point}",
        clock=WallTime(row.changes_at, now, speaker.farm.zone),
        point=_point(row.wind_from_then),
    )
    return joined([wait, say("or {way}", way=swaths)]) if swaths else wait
