"""The sides of a field in the order to spray them, each with its reason."""

from collections.abc import Sequence
from itertools import groupby

from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.words import clock, name
from watcher.judge.end_rows import ALL_ROUND, EndRow, Turn, Why
from watcher.units import Kind, show

_NOW = {
    Why.AWAY: "the wind moves away from it",
    Why.CALM: "the air moves there, but it is calm",
    Why.TOO_MUCH: "more would land there than it stands",
    Why.DOWNWIND: "the wind blows there",
    Why.NOT_CALM: "only calm air will do beside it",
    Why.NO_SPRAY: "it lies downwind within the label's no-spray distance",
    Why.STILL: "still air goes anywhere",
    Why.UNKNOWN: "the wind or its direction is unknown",
}


def end_row_lines(speaker: Speaker, rows: Sequence[EndRow], now: int) -> list[str]:
    """Return the sides as a numbered list; those nobody minds are one entry."""
    said = []
    for turn, alike in groupby(rows, key=lambda row: row.turn):
        together = list(alike)
        if turn is Turn.ANY_TIME:
            said.append(f"any time: {_sides(together)}; nobody who minds is in reach")
        else:
            said += [_line(speaker, row, now) for row in together]
    return [f"{place} {line}" for place, line in enumerate(said, start=1)]


def _sides(rows: Sequence[EndRow]) -> str:
    sides = ", ".join(row.side for row in rows)
    return f"{sides} side" if len(rows) == 1 else f"{sides} sides"


def _line(speaker: Speaker, row: EndRow, now: int) -> str:
    system = speaker.system
    where = "round the yard" if row.side == ALL_ROUND else f"{row.side} side"
    if row.length_m:
        where += f", {show(row.length_m, Kind.LENGTH, system)} long"
    far = show(row.distance_m, Kind.LENGTH, system)
    said = f"{where}, {name(row.neighbour or '')} {far} off: {_NOW[row.why]}"
    if row.turn is Turn.FIRST:
        return f"first: {said}; {_turning(speaker, row, now)}"
    return f"leave: {said}; {_waiting(speaker, row, now)}"


def _turning(speaker: Speaker, row: EndRow, now: int) -> str:
    if row.changes_at is None or row.then is None:
        return "it may turn or rise"
    at = clock(row.changes_at, now, speaker.farm.zone)
    return f"from {at} {_NOW[row.then]} (from the {row.wind_from_then})"


def _waiting(speaker: Speaker, row: EndRow, now: int) -> str:
    swaths = f"leave {row.leave_swaths} swaths" if row.leave_swaths else None
    if row.leave_swaths == 1:
        swaths = "leave 1 swath"
    if row.changes_at is None:
        return swaths or "no better hour in the forecast"
    at = clock(row.changes_at, now, speaker.farm.zone)
    said = f"wait for {at}, wind from the {row.wind_from_then}"
    return f"{said}, or {swaths}" if swaths else said
