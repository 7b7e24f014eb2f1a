"""The log: what was measured, as charts; what the fields were; what was told."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from markupsafe import Markup
from sqlalchemy.orm import Session

from watcher.alerts.wording.words import name
from watcher.farm.feeds import observes
from watcher.judge.status import Status
from watcher.store import aggregates, outbox, statuses
from watcher.store.tables import Message
from watcher.units import Kind, show
from watcher.weather.series import WeatherSeries
from watcher.web.door import Visitor
from watcher.web.draw.past import Curve, past_chart
from watcher.web.house import House
from watcher.web.sight import Standing

DAYS = (1, 3, 7, 30)
_DAY_S = 86_400
_MOST_CHANGES, _MOST_MESSAGES = 60, 30
_CHARTS = (
    ("Wind and gust", Kind.SPEED, (("wind", "wind_m_s"), ("gust", "gust_m_s"))),
    ("Wind from", Kind.ANGLE, (("wind", "wind_from_deg"),)),
    ("Temperature", Kind.TEMPERATURE, (("wind", "temp_c"),)),
    ("Humidity", Kind.PERCENT, (("wind", "humidity_pct"),)),
    ("Rain", Kind.RAIN_RATE, (("wind", "rain_mm_h"),)),
)


@dataclass(frozen=True)
class Drawn:
    """One chart of the log."""

    title: str
    unit: str
    drawn: Markup
    two: bool
    """Whether wind and gust share it."""


@dataclass(frozen=True)
class ChangeRow:
    """A change of a field's status."""

    at: int
    clock: str
    field: str
    standing: Standing
    setup: str


def router(house: House) -> APIRouter:
    """Routes of the log."""
    routes = APIRouter(include_in_schema=False)
    looker = Depends(house.door.looker)

    @routes.get("/log")
    def log(
        request: Request, source: str | None = None, days: int = 1, visitor: Visitor = looker
    ) -> Response:
        measuring = [n for n, entry in house.farm.told.sources.items() if observes(entry)]
        if source is not None and source not in measuring:
            raise HTTPException(404, "no source of the farm that measures has this name")
        days = min(DAYS, key=lambda known: abs(known - days))
        chosen = source or next(iter(measuring), None)
        now = house.watch.clock.now()
        with house.watch.book.store.reading() as session:
            told = _told(house, session, chosen, (now - days * _DAY_S, now))
        told |= {"sources": measuring, "chosen": chosen, "days": days, "all_days": DAYS}
        return house.show(request, visitor, "log.html", **told)

    return routes


def _told(
    house: House, session: Session, source: str | None, span: tuple[int, int]
) -> dict[str, Any]:
    charts: list[Drawn] = []
    if source is not None:
        charts = list(
            _charts(house, aggregates.finest(session, source, span[0], span[1] + 1), span)
        )
    return {
        "charts": charts,
        "span": span,
        "changes": _changes(house, session, span),
        "messages": [_message(house, m) for m in outbox.newest(session, _MOST_MESSAGES)],
    }


def _charts(house: House, series: WeatherSeries, span: tuple[int, int]) -> Iterator[Drawn]:
    system, zone = house.speaker.system, house.farm.zone
    for title, kind, quantities in _CHARTS:
        curves = [Curve(style, getattr(series, quantity)) for style, quantity in quantities]
        drawn = past_chart(
            series.times, curves, kind=kind, span=span, zone=zone, system=system, label=title
        )
        if drawn is not None:
            unit = show(0.0, kind, system).lstrip("-0123456789. ")
            yield Drawn(title, unit, drawn, two=len(curves) > 1)


def _changes(house: House, session: Session, span: tuple[int, int]) -> list[ChangeRow]:
    """The newest changes of all fields, the newest first."""
    found = [
        ChangeRow(
            at=change.at,
            clock=house.clock(change.at),
            field=field,
            standing=Standing(Status[change.status.upper()]),
            setup=name(change.setup or ""),
        )
        for field in house.farm.told.fields
        for change in statuses.history(session, field, span[0], span[1] + 1)
    ]
    return sorted(found, key=lambda row: -row.at)[:_MOST_CHANGES]


def _message(house: House, message: Message) -> tuple[str, str, str, str]:
    state = message.state if message.acknowledged_at is None else "seen"
    who = name(message.recipient)
    return house.clock(message.created_at), who, message.title or message.body, state
