"""The hours ahead begun at the station: against archived forecasts, and what must always hold."""

from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.archived_forecasts import Archive, hill_city, needs_archive
from watcher.forecasts.station_now import begun_at_station
from watcher.weather.air import dew_point
from watcher.weather.series import Site, WeatherSeries

HOUR = 3600
NOW = 1_781_107_200
SITE = Site(41.0, -96.0)
HOURS = NOW + HOUR * np.arange(-3, 25)
NAMES = ("wind_m_s", "wind_from_deg", "gust_m_s", "temp_c", "humidity_pct")

WIND = st.floats(0, 20)
DIRECTION = st.floats(0, 360)


def series(times: np.ndarray, **values: float) -> WeatherSeries:
    arrays = {name: np.full(times.size, value) for name, value in values.items()}
    return WeatherSeries.of(times, SITE, "some", arrays)


def begun(foretold: Mapping[str, float], measured: Mapping[str, float]) -> WeatherSeries:
    """The hours after now, as they are begun at half an hour of the same readings."""
    feed = series(HOURS, **foretold)
    minutes = series(NOW - 60 * np.arange(30)[::-1], **measured)
    ahead = feed.at(feed.times > NOW)
    return ahead.having(**begun_at_station(ahead, feed, dict.fromkeys(measured, minutes)))


@given(WIND, WIND, DIRECTION, DIRECTION)
def test_speeds_lie_between_what_is_measured_and_what_is_foretold(
    measured: float, foretold: float, came_from: float, comes_from: float
) -> None:
    """Whatever the directions: of opposite ones no calm is made."""
    ahead = begun(
        {"wind_m_s": foretold, "wind_from_deg": came_from},
        {"wind_m_s": measured, "wind_from_deg": comes_from},
    )
    low, high = sorted([measured, foretold])
    assert np.all((ahead.wind_m_s >= low - 1e-9) & (ahead.wind_m_s <= high + 1e-9))
    off = np.abs(ahead.wind_m_s - foretold)
    assert np.all(np.diff(off) <= 1e-9)
    turned = np.abs((ahead.wind_from_deg - came_from + 180) % 360 - 180)
    whole = abs((comes_from - came_from + 180) % 360 - 180)
    assert np.all(turned <= whole + 1e-6)


@given(WIND, WIND, st.floats(1, 3), st.floats(1, 3) | st.none())
def test_a_gust_is_never_below_its_wind(
    measured: float, foretold: float, of_feed: float, of_station: float | None
) -> None:
    gust = {} if of_station is None else {"gust_m_s": measured * of_station}
    ahead = begun(
        {"wind_m_s": foretold, "gust_m_s": foretold * of_feed}, {"wind_m_s": measured} | gust
    )
    assert np.all(ahead.gust_m_s >= ahead.wind_m_s)
    if of_station is None:  # what is not measured lowers nothing
        assert np.all(ahead.gust_m_s >= foretold * of_feed - 1e-9)


@given(st.floats(-10, 40), st.floats(-10, 40), st.floats(5, 100), st.floats(5, 100))
def test_the_air_stays_air(
    measured: float, foretold: float, damp: float, foretold_damp: float
) -> None:
    ahead = begun(
        {"temp_c": foretold, "humidity_pct": foretold_damp},
        {"temp_c": measured, "humidity_pct": damp},
    )
    assert np.all((ahead.humidity_pct > 0) & (ahead.humidity_pct <= 100 + 1e-9))
    assert ahead.temp_c[-1] == pytest.approx(foretold, abs=1.0)
    moisture = float(dew_point(temp_c=ahead.temp_c, humidity_pct=ahead.humidity_pct)[-1])
    assert moisture <= ahead.temp_c[-1] + 1e-6


def test_a_gust_front_that_passes_is_not_carried_on() -> None:
    """Twenty-five minutes of front in the last hour: the hours ahead are as without it."""
    times = NOW - 60 * np.arange(60)[::-1]
    front = (times > NOW - 40 * 60) & (times <= NOW - 15 * 60)
    site = WeatherSeries.of(
        times,
        SITE,
        "mast",
        {"wind_m_s": np.where(front, 11.0, 4.0), "gust_m_s": np.where(front, 16.0, 6.0)},
    )
    feed = series(HOURS, wind_m_s=4.0, gust_m_s=6.0)
    ahead = feed.at(feed.times > NOW)
    found = begun_at_station(ahead, feed, {"wind_m_s": site, "gust_m_s": site})
    assert found["wind_m_s"] == pytest.approx(ahead.wind_m_s)
    assert found["gust_m_s"] == pytest.approx(ahead.gust_m_s, rel=0.2)


def test_what_is_missing_changes_nothing() -> None:
    foretold = {"wind_m_s": 4.0, "wind_from_deg": 200.0, "gust_m_s": 6.0, "temp_c": 20.0}
    nothing = begun(foretold, dict.fromkeys(NAMES, np.nan))
    for name, value in foretold.items():
        assert np.all(getattr(nothing, name) == value)
    calm = begun(foretold, {"wind_m_s": 0.2, "wind_from_deg": 20.0})
    assert np.all(calm.wind_from_deg == 200.0)  # a vane in a calm points anywhere
    unknown = begun({"wind_m_s": np.nan}, {"wind_m_s": 4.0})
    assert np.isnan(unknown.wind_m_s).all()


def _rms(archive: Archive, feed: int, name: str, lead_h: int) -> tuple[float, float]:
    """Of a feed as it is and begun at the station, over a month's runs at three hours each."""
    off: list[list[float]] = []
    for run, said in archive.runs[feed].items():
        times = np.array(sorted(said["wind_m_s"]))
        foretold = _of(said, times)
        for now in (run + HOUR * hours for hours in (2, 5, 8)):
            ahead = foretold.at(foretold.times == now + HOUR * lead_h)
            came = archive.measured[name].get(now + HOUR * lead_h, np.nan)
            here = dict.fromkeys(NAMES, _of(archive.measured, np.array([now])))
            if not len(ahead) or now not in archive.measured[name] or np.isnan(came):
                continue
            begun = ahead.having(**begun_at_station(ahead, foretold, here))
            found = [getattr(weather, name)[0] - came for weather in (ahead, begun)]
            off.append(found)
    errors = np.array(off)
    raw, with_station = np.sqrt(np.nanmean(errors**2, axis=0))
    return float(raw), float(with_station)


def _of(values: Mapping[str, Mapping[int, float]], times: np.ndarray) -> WeatherSeries:
    names = ("wind_m_s", "temp_c", "dew_point_c")
    found = {n: np.array([values[n].get(int(t), np.nan) for t in times]) for n in names}
    return WeatherSeries.of(times, SITE, "archive", found)


@needs_archive
@pytest.mark.parametrize(
    ("name", "gain_at_1_h"), [("wind_m_s", 0.93), ("temp_c", 0.80), ("dew_point_c", 0.70)]
)
@pytest.mark.parametrize("feed", [0, 1], ids=["regional model", "global model"])
def test_the_next_hours_are_nearer_and_later_ones_no_worse(
    name: str, gain_at_1_h: float, feed: int
) -> None:
    """Archived forecasts of June 2021 (HRRR, GFS) with an aerodrome's hourly reports, Kansas."""
    archive = hill_city()
    for lead_h, most in ((1, gain_at_1_h), (2, 0.97), (3, 1.0), (6, 1.0), (9, 1.01)):
        raw, with_station = _rms(archive, feed, name, lead_h)
        assert with_station <= most * raw, (lead_h, raw, with_station)
