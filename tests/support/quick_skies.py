"""Judged weather that never changes, shifted in time: for tests of thousands of cycles.

The judgement of one template is used at every moment, so the hour of the day plays no part in it.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from tests.support.skies import MORNING, judged, timeline
from watcher.judge.judgement import Judgement
from watcher.judge.ranking import FieldNow, Ranking
from watcher.judge.timeline import Timeline
from watcher.limits.farm_arrays import FarmArrays
from watcher.weather.series import WeatherSeries

SKIES: Mapping[str, Mapping[str, Any]] = {
    "calm": {},
    "near": {"wind_mph": 9.2},
    "storm": {"wind_mph": 12.0, "gust_mph": 17.0},
    "turned": {"wind_mph": 7.0, "wind_from_deg": 180.0},
    "unknown": {"wind_mph": np.nan, "gust_mph": np.nan},
    "dry": {"temp_c": 34.0, "humidity_pct": 20.0},
}


class QuickSkies:
    """Judges each sky once."""

    def __init__(
        self, plan: FarmArrays, skies: Mapping[str, Mapping[str, Any]] = SKIES, at: int = MORNING
    ) -> None:
        self._plan, self._skies, self._at = plan, skies, at
        self._template = cache(self._judge)

    def _judge(self, sky: str) -> tuple[Timeline, Judgement, Ranking]:
        look = timeline(self._at, **self._skies[sky])
        return (look, *judged(self._plan, look))

    def at(self, now: int, sky: str) -> tuple[Judgement, Timeline, Ranking]:
        """Return the sky judged at a moment, in the order the alert cycle takes it."""
        look, judgement, ranking = self._template(sky)
        by = now - self._at
        series = _shifted(look.series, by)
        return (
            replace(judgement, series=series),
            replace(look, series=series),
            Ranking(
                at=now,
                spray=tuple(_later(f, by) for f in ranking.spray),
                rest=tuple(_later(f, by) for f in ranking.rest),
            ),
        )


def _shifted(series: WeatherSeries, by: int) -> WeatherSeries:
    return WeatherSeries.of(series.times + by, series.site, series.source, series.quantities())


def _later(field: FieldNow, by: int) -> FieldNow:
    def shift(at: int | None) -> int | None:
        return None if at is None else at + by

    return replace(
        field,
        breaks_at=shift(field.breaks_at),
        opens_at=shift(field.opens_at),
        can_wait_until=shift(field.can_wait_until),
    )
