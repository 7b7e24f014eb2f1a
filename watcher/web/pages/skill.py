"""What was said of jobs against what came of them, as ``watcher skill`` has it."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite

from fastapi import APIRouter, Depends, Request, Response
from markupsafe import Markup

from watcher.forecasts.scores import Bar, Bin, Skill
from watcher.i18n.message import Message, Number, say
from watcher.messages.skill import THAN_FORECAST, THAN_USUAL, saved, summary
from watcher.messages.verification import parts
from watcher.service.skill import feed_errors, skill
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.svg.svg import el

_LOOKS_BACK_S = 90 * 86_400
"""A season; the command looks back as far as it is asked to."""
FEWEST_STARTS = 20
"""Of fewer starts nothing is drawn: what came of them is mostly luck."""
_WIDTH, _HEIGHT, _BAR = 200.0, 20.0, 12.0


@dataclass(frozen=True)
class SaidRow:
    """Chances said alike, and what came of them."""

    said: Number
    held: Message
    drawn: Markup | None
    """None where they are too few."""
    count: int


def router(context: AppContext) -> APIRouter:
    """Route of the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/skill")
    def show(request: Request, visitor: Visitor = Depends(context.auth.looker)) -> Response:  # noqa: B008
        since = context.watch.clock.now() - _LOOKS_BACK_S
        with context.watch.transactions.store.reading() as session:
            found = skill(session, context.farm, since)
            errors = feed_errors(session, context.farm, since)
        return context.show(
            request,
            visitor,
            "skill.html",
            summary=summary(found),
            enough=found.enough,
            rows=[_row(one) for one in found.bins],
            against=list(_against(found)),
            parts=parts(errors.feeds, errors.least, errors.rain, context.speaker.system)
            if errors
            else (),
        )

    return routes


def _row(one: Bin) -> SaidRow:
    said = Number(f"{one.said:.0%}")
    if one.count < FEWEST_STARTS:
        return SaidRow(said, say("too few to say"), None, one.count)
    held = say(
        "{held} ({low} to {high})",
        held=f"{one.held.value:.0%}",
        low=f"{one.held.low:.0%}",
        high=f"{one.held.high:.0%}",
    )
    return SaidRow(said, held, _drawn(one), one.count)


def _drawn(one: Bin) -> Markup:
    """Draw what came as a length, within which bounds as a thin line, what was said as a post."""
    middle, top = _HEIGHT / 2, (_HEIGHT - _BAR) / 2
    low, high, post = (_WIDTH * share for share in (one.held.low, one.held.high, one.said))
    return el(
        "svg",
        el("path", class_="track", d=f"M0 {middle:.0f}H{_WIDTH:.0f}"),
        el("rect", class_="left", x=0.0, y=top, width=_WIDTH * one.held.value, height=_BAR),
        el("path", class_="spread", d=f"M{low:.1f} {middle:.0f}H{high:.1f}"),
        el("path", class_="post", d=f"M{post:.1f} 0V{_HEIGHT:.0f}"),
        class_="headroom said",
        viewBox=f"0 0 {_WIDTH:.0f} {_HEIGHT:.0f}",
        aria_hidden="true",
    )


def _against(found: Skill) -> Iterator[Message]:
    bars: tuple[tuple[Message, Bar | None], ...] = (
        (THAN_USUAL, found.against_usual),
        (THAN_FORECAST, found.against_forecast),
    )
    for title, bar in bars:
        if bar is not None and isfinite(bar.value):
            yield saved(title, bar)
