"""The log: what was measured, as charts; what the fields were; what was sent."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from markupsafe import Markup
from sqlalchemy.orm import Session

from watcher.farm.feeds import observes
from watcher.i18n.language import Language
from watcher.i18n.message import Message, Name, Param
from watcher.limits.status import Status
from watcher.messages.vocabulary import MESSAGE_STATE_WORDS
from watcher.service.log_view import LogView, look_at_log
from watcher.weather.quantities import CATALOGUE as QUANTITIES
from watcher.weather.series import WeatherSeries
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.pages.view_models import StatusMark
from watcher.web.svg.past import Curve, past_chart

DAYS = (1, 3, 7, 30)
_DAY_S = 86_400
_MOST_CHANGES, _MOST_MESSAGES = 60, 30
_CHARTED = [(q.chart, q) for q in QUANTITIES if q.chart is not None]
_CHARTS = {
    title: [quantity for _, quantity in sharing]
    for title, sharing in groupby(_CHARTED, key=lambda charted: charted[0].title)
}


@dataclass(frozen=True)
class Drawn:
    """One chart of the log."""

    title: Message
    unit: str
    drawn: Markup
    two: bool
    """Whether wind and gust share it."""


@dataclass(frozen=True)
class ChangeRow:
    """A change of a field's status."""

    at: int
    clock: Message
    field: str
    mark: StatusMark
    setup: Message


def router(context: AppContext) -> APIRouter:
    """Routes of the log."""
    routes = APIRouter(include_in_schema=False)
    looker = Depends(context.auth.looker)

    @routes.get("/log")
    def log(
        request: Request, source: str | None = None, days: int = 1, visitor: Visitor = looker
    ) -> Response:
        measuring = [n for n, entry in context.farm.config.sources.items() if observes(entry)]
        if source is not None and source not in measuring:
            raise HTTPException(404, "no source of the farm that measures has this name")
        days = min(DAYS, key=lambda known: abs(known - days))
        chosen = source or next(iter(measuring), None)
        now = context.watch.clock.now()
        with context.watch.transactions.store.reading() as session:
            values = _values(
                context, session, chosen, (now - days * _DAY_S, now), context.language(request)
            )
        values |= {"sources": measuring, "chosen": chosen, "days": days, "all_days": DAYS}
        return context.show(request, visitor, "log.html", **values)

    return routes


def _values(
    context: AppContext,
    session: Session,
    source: str | None,
    span: tuple[int, int],
    language: Language,
) -> dict[str, Any]:
    view = look_at_log(
        session,
        source,
        context.farm.config.fields,
        span,
        most_changes=_MOST_CHANGES,
        most_messages=_MOST_MESSAGES,
    )
    return {
        "charts": []
        if view.measured is None
        else list(_charts(context, view.measured, span, language)),
        "span": span,
        "changes": _changes(context, view),
        "messages": _messages(context, view),
    }


def _charts(
    context: AppContext, series: WeatherSeries, span: tuple[int, int], language: Language
) -> Iterator[Drawn]:
    system, zone = context.speaker.system, context.farm.zone
    for title, quantities in _CHARTS.items():
        kind = quantities[0].kind
        curves = [Curve(q.chart.style, getattr(series, q.column)) for q in quantities if q.chart]
        drawn = past_chart(
            series.times,
            curves,
            kind=kind,
            span=span,
            zone=zone,
            system=system,
            label=title.render(language),
        )
        if drawn is not None:
            unit = kind.show(0.0, system).lstrip("-0123456789. ")
            yield Drawn(title, unit, drawn, two=len(curves) > 1)


def _changes(context: AppContext, view: LogView) -> list[ChangeRow]:
    return [
        ChangeRow(
            at=change.at,
            clock=context.clock(change.at),
            field=field,
            mark=StatusMark(Status[change.status.upper()]),
            setup=Name(change.setup or ""),
        )
        for field, change in view.changes
    ]


def _messages(context: AppContext, view: LogView) -> list[tuple[Message, str, str, Param]]:
    found: list[tuple[Message, str, str, Param]] = []
    for message in view.messages:
        state = message.state if message.acknowledged_at is None else "seen"
        word = MESSAGE_STATE_WORDS.get(state, state)
        written = message.title or message.body
        found.append((context.clock(message.created_at), message.recipient, written, word))
    return found
