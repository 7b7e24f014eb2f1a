"""The air as it is now for one field and setup: wind at mast and boom, and who measured it."""

from dataclasses import dataclass
from math import isfinite

from markupsafe import Markup
from sqlalchemy.orm import Session

from watcher.i18n.language import Language
from watcher.i18n.message import Message, say
from watcher.judge.by_hand import BY_HAND
from watcher.limits.catalogue import Limit
from watcher.messages.air_now import air_at, shown, wind_from
from watcher.messages.weather import wind_line
from watcher.messages.words import span
from watcher.service.log_view import look_at_log
from watcher.units import Kind
from watcher.web.context import AppContext
from watcher.web.svg.trace import TraceBounds, trace
from watcher.web.svg.wind_ring import wind_ring

_TRACE_S = 1800


@dataclass(frozen=True)
class AirViewModel:
    """The air now, in words. "not known" says so of each value nobody tells."""

    ring: Markup
    wind_from: Message
    boom_wind: Message
    boom_gust: Message
    mast_wind: Message
    mast_gust: Message
    temperature: Message
    humidity: Message
    delta_t: Message
    who: Message
    """Who measured the wind and when, or that it is only forecast."""


def air_now(context: AppContext, field: str, setup: str) -> AirViewModel:
    """Return the air now over a field, at the boom of a setup. Raises ValueError for no such."""
    snapshot, system = context.snapshot, context.speaker.system
    look = snapshot.timeline.of(field)
    air = air_at(snapshot.judgement, look, look.now, field, setup)
    return AirViewModel(
        ring=wind_ring(air.wind_from_deg),
        wind_from=wind_from(air.wind_from_deg),
        boom_wind=shown(air.boom_wind_m_s, Kind.SPEED, system),
        boom_gust=shown(air.boom_gust_m_s, Kind.SPEED, system),
        mast_wind=shown(air.mast_wind_m_s, Kind.SPEED, system),
        mast_gust=shown(air.mast_gust_m_s, Kind.SPEED, system),
        temperature=shown(air.temp_c, Kind.TEMPERATURE, system),
        humidity=shown(air.humidity_pct, Kind.PERCENT, system),
        delta_t=shown(air.delta_t_k, Kind.TEMPERATURE_STEP, system),
        who=wind_line(look),
    )


def last_minutes(
    context: AppContext, session: Session, field: str, setup: str, language: Language
) -> Markup | None:
    """Draw the last half hour of wind and gust at the boom against the field's bounds.

    None where no station speaks for the wind. The readings of the mast are put to the height of
    the boom as the wind of now is.
    """
    snapshot = context.snapshot
    source = snapshot.timeline.of(field).spoken["wind_m_s"].source
    if source in {None, BY_HAND} or not snapshot.timeline.of(field).spoken["wind_m_s"].measured:
        return None
    now = context.watch.clock.now()
    plan = snapshot.judgement.plan
    case = plan.fields.index(field), plan.setups.index(setup)
    index = snapshot.timeline.now_index
    judgement = snapshot.judgement.of_field(case[0])
    found = look_at_log(session, source, (), (now - _TRACE_S, now), most_changes=0, most_messages=0)
    if found.measured is None:
        return None
    mast = float(judgement.series.wind_m_s[index])
    boom = float(judgement.boom.wind_m_s[(*case, index)])
    share = boom / mast if isfinite(mast) and isfinite(boom) and mast > 0 else 1.0
    wind, gust = judgement.plan.bounds[Limit.WIND], judgement.plan.bounds[Limit.GUST]
    return trace(
        found.measured.times,
        found.measured.wind_m_s * share,
        found.measured.gust_m_s * share,
        TraceBounds(float(wind.low[case[0]]), float(wind.high[case[0]]), float(gust.high[case[0]])),
        span=(now - _TRACE_S, now),
        system=context.speaker.system,
        label=say("Wind and gust at the boom, last 30 minutes").render(language),
        ends=(
            say("{span} ago", span=span(_TRACE_S)).render(language),
            say("now").render(language),
        ),
    )
