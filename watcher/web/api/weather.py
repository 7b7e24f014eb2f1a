"""The weather as it is now, for programs: over each field, and as each station last reported it."""

import math
from typing import Literal

import numpy as np
from fastapi import APIRouter, Depends

from watcher.judge.timeline import Measured, Spoken
from watcher.messages.air_now import air_at
from watcher.service.snapshot import measured
from watcher.weather.inversion import Finding
from watcher.web.api.endpoints import API, answers
from watcher.web.api.models import ApiModel, finite
from watcher.web.auth.users import User
from watcher.web.context import AppContext

InversionWord = Literal["unknown", "none", "possible", "likely", "measured"]


class SpeaksSchema(ApiModel):
    """Who tells a quantity."""

    source: str | None
    """A source of the farm file, or "by hand"; null where nobody does."""
    measured: bool
    """False where it is only foretold."""
    age_s: float | None


class AirSchema(ApiModel):
    """The air now over a field, at the boom of its setup. SI; null where nobody tells."""

    field: str
    setup: str
    wind_from_deg: float | None
    boom_wind_m_s: float | None
    boom_gust_m_s: float | None
    mast_wind_m_s: float | None
    mast_gust_m_s: float | None
    temperature_c: float | None
    humidity_pct: float | None
    delta_t_k: float | None
    inversion: InversionWord
    speaks: dict[str, SpeaksSchema]
    """Who tells wind, gust, direction, temperature and humidity."""


class StationNowSchema(ApiModel):
    """A station's newest reading, with what is doubted left out."""

    station: str
    at: int | None
    """When it was read; null where it has reported nothing for too long."""
    values: dict[str, float | None]
    """By the names of the log, with their units; null where it measures it and it is not known."""


class WeatherSchema(ApiModel):
    """The weather now."""

    at: int
    judged_at: int | None
    old: bool
    """Whether the watch has not judged for so long that this must not be relied on."""
    fields: list[AirSchema]
    stations: list[StationNowSchema]


_SPOKEN = {
    "wind": "wind_m_s",
    "gust": "gust_m_s",
    "wind_from": "wind_from_deg",
    "temperature": "temp_c",
    "humidity": "humidity_pct",
}
_WORDS: dict[Finding, InversionWord] = {
    Finding.UNKNOWN: "unknown",
    Finding.NONE: "none",
    Finding.POSSIBLE: "possible",
    Finding.LIKELY: "likely",
    Finding.MEASURED: "measured",
}


def router(context: AppContext) -> APIRouter:
    """Route of the weather."""
    routes = APIRouter(prefix="/api/v1", tags=["weather"], **API)

    @routes.get("/weather", responses=answers(401, 503))
    def weather(_user: User = Depends(context.auth.api_looker)) -> WeatherSchema:  # noqa: B008
        """The weather over each field, wind at boom and mast apart, and what each station tells."""
        with context.watch.transactions.store.reading() as session:
            stations = measured(session, context.farm, context.watch.clock.now())
        return WeatherSchema(
            at=context.snapshot.timeline.now,
            judged_at=context.watch.judged_at,
            old=context.old,
            fields=airs(context),
            stations=[_station(context, name, one) for name, one in stations.items()],
        )

    return routes


def _station(context: AppContext, name: str, measured: Measured) -> StationNowSchema:
    now, times = context.watch.clock.now(), measured.series.times
    values: dict[str, float | None] = dict.fromkeys(sorted(measured.measures))
    fresh = times.size and now - times[-1] <= measured.silent_after_s
    if not fresh or context.watch.transactions.time.lost:
        return StationNowSchema(station=name, at=None, values=values)
    newest = measured.series.quantities()
    values = {quantity: finite(float(newest[quantity][-1])) for quantity in values}
    return StationNowSchema(station=name, at=int(times[-1]), values=values)


def airs(context: AppContext) -> list[AirSchema]:
    """Return the air now over every field that has a setup. Raises NothingJudgedError."""
    snapshot = context.snapshot
    ranked = snapshot.ranking.every
    return [
        air_schema(context, field, str(ranked[field].setup))
        for field in snapshot.judgement.plan.fields
        if field in ranked and ranked[field].setup is not None
    ]


def air_schema(context: AppContext, field: str, setup: str) -> AirSchema:
    """Return the air now over a field at the boom of a setup."""
    snapshot = context.snapshot
    judgement, look = snapshot.judgement, snapshot.timeline.of(field)
    air = air_at(judgement, look, look.now, field, setup)
    inversion = judgement.of_field(judgement.plan.fields.index(field)).inversion
    now = int(np.searchsorted(inversion.times, look.now))
    return AirSchema(
        field=field,
        setup=setup,
        wind_from_deg=finite(air.wind_from_deg),
        boom_wind_m_s=finite(air.boom_wind_m_s),
        boom_gust_m_s=finite(air.boom_gust_m_s),
        mast_wind_m_s=finite(air.mast_wind_m_s),
        mast_gust_m_s=finite(air.mast_gust_m_s),
        temperature_c=finite(air.temp_c),
        humidity_pct=finite(air.humidity_pct),
        delta_t_k=finite(air.delta_t_k),
        inversion=_WORDS[Finding(int(inversion.finding[now]))],
        speaks={word: _speaks(look.spoken[name]) for word, name in _SPOKEN.items()},
    )


def _speaks(spoken: Spoken) -> SpeaksSchema:
    age = spoken.age_s if math.isfinite(spoken.age_s) else None
    return SpeaksSchema(source=spoken.source, measured=spoken.measured, age_s=age)
