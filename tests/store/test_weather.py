"""Readings and forecasts come back from the log as they went in."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from watcher.sources.base import Flag, Forecast, Observations
from watcher.store import weather
from watcher.store.database import Log
from watcher.weather.series import QUANTITIES, Site, WeatherSeries

NOW = 1_700_000_000
SITE = Site(
    latitude=44.5,
    longitude=-100.25,
    elevation_m=520.0,
    wind_height_m=2.0,
    temp_height_m=1.5,
    temp_upper_height_m=9.0,
)


def observed(times: list[int], source: str = "station", **quantities: list[float]) -> Observations:
    return Observations(WeatherSeries.of(times, SITE, source, quantities))


def add(log: Log, observations: Observations, received_at: int = NOW) -> int:
    with log.writing() as session:
        return weather.add_observations(session, observations, received_at)


def kept(log: Log, start: int = 0, end: int = 2 * NOW, source: str = "station") -> Observations:
    with log.reading() as session:
        return weather.observations(session, source, start, end)


def assert_same(found: WeatherSeries, wanted: WeatherSeries) -> None:
    assert (found.site, found.source) == (wanted.site, wanted.source)
    np.testing.assert_array_equal(found.times, wanted.times)
    for name, values in wanted.quantities().items():
        np.testing.assert_array_equal(getattr(found, name), values, err_msg=name)


def test_every_quantity_comes_back_as_it_was(log: Log) -> None:
    quantities = {name: [i + 0.1, -i / 3] for i, name in enumerate(QUANTITIES)}
    told = observed([NOW, NOW + 300], **quantities)
    assert add(log, told) == 2
    assert_same(kept(log).series, told.series)


def test_a_missing_value_is_null_in_the_log_and_comes_back_missing(log: Log) -> None:
    add(log, observed([NOW, NOW + 60], wind_m_s=[np.nan, 0.0]))
    with log.reading() as session:
        stored = session.connection().exec_driver_sql(
            "SELECT wind_m_s, temp_c FROM observation ORDER BY time"
        )
        assert [tuple(row) for row in stored] == [(None, None), (0.0, None)]
    series = kept(log).series
    np.testing.assert_array_equal(series.wind_m_s, [np.nan, 0.0])
    assert np.isnan(series.temp_c).all()


def test_a_site_without_an_upper_sensor_stays_without(log: Log) -> None:
    site = replace(SITE, temp_upper_height_m=np.nan)
    add(log, Observations(WeatherSeries.of([NOW], site, "station", {})))
    found = kept(log).series.site
    assert np.isnan(found.temp_upper_height_m)
    assert replace(found, temp_upper_height_m=0.0) == replace(site, temp_upper_height_m=0.0)


# The start of the epoch, before it, and after the last second 32 bits can count.
@pytest.mark.parametrize("time", [0, -86_400, 2**31 - 1, 2**31, 253_402_300_799])
def test_times_come_back_to_the_second(log: Log, time: int) -> None:
    add(log, observed([time], wind_m_s=[1.0]))
    assert kept(log, time, time + 1).series.times.tolist() == [time]


def test_readings_are_cut_to_the_time_and_source_asked_for(log: Log) -> None:
    add(log, observed([NOW, NOW + 1, NOW + 2], wind_m_s=[1.0, 2.0, 3.0]))
    add(log, observed([NOW + 1], "other", wind_m_s=[9.0]))
    assert kept(log, NOW, NOW + 2).series.wind_m_s.tolist() == [1.0, 2.0]
    assert kept(log, source="other").series.wind_m_s.tolist() == [9.0]


def test_flags_come_back_on_the_values_they_were_put_on(log: Log) -> None:
    series = observed([NOW, NOW + 60, NOW + 120], wind_m_s=[1.0, 90.0, 2.0]).series
    flags = {
        "wind_m_s": np.array([0, Flag.RANGE | Flag.STEP, 0], dtype=np.uint16),
        "temp_c": np.array([0, 0, Flag.STUCK], dtype=np.uint16),
        "gust_m_s": np.zeros(3, dtype=np.uint16),
    }
    add(log, Observations(series, flags))
    found = kept(log)
    assert {name: bits.tolist() for name, bits in found.flags.items()} == {
        "wind_m_s": [0, int(Flag.RANGE | Flag.STEP), 0],
        "temp_c": [0, 0, int(Flag.STUCK)],
    }
    np.testing.assert_array_equal(found.series.wind_m_s, [1.0, 90.0, 2.0])
    np.testing.assert_array_equal(found.usable().wind_m_s, [1.0, np.nan, 2.0])


def received(log: Log) -> list[tuple[int, int]]:
    with log.reading() as session:
        rows = session.connection().exec_driver_sql(
            "SELECT time, received_at FROM observation ORDER BY time"
        )
        return [(row[0], row[1]) for row in rows]


def test_the_same_reading_twice_changes_nothing(log: Log) -> None:
    flagged = {"wind_m_s": np.array([4, 0], np.uint16), "temp_c": np.array([1, 0], np.uint16)}
    told = observed([NOW, NOW + 60], wind_m_s=[1.5, np.nan])
    told = Observations(told.series, flagged)
    turned = Observations(told.series, dict(reversed(flagged.items())))
    assert add(log, told, NOW + 100) == 2
    assert add(log, told, NOW + 400) == 0
    assert add(log, turned, NOW + 700) == 0
    assert received(log) == [(NOW, NOW + 100), (NOW + 60, NOW + 100)]


def test_only_readings_of_new_times_are_counted(log: Log) -> None:
    assert add(log, observed([NOW, NOW + 60], wind_m_s=[1.0, 2.0]), NOW + 100) == 2
    assert add(log, observed([NOW + 60, NOW + 120], wind_m_s=[2.0, 3.0]), NOW + 200) == 1
    assert received(log) == [(NOW, NOW + 100), (NOW + 60, NOW + 100), (NOW + 120, NOW + 200)]


def test_a_corrected_reading_takes_the_place_of_the_first_one(log: Log) -> None:
    add(log, observed([NOW, NOW + 60], wind_m_s=[1.0, 2.0], temp_c=[20.0, 21.0]))
    corrected = observed([NOW], wind_m_s=[np.nan], temp_c=[20.5])
    assert add(log, corrected, NOW + 500) == 0
    series = kept(log).series
    np.testing.assert_array_equal(series.wind_m_s, [np.nan, 2.0])
    np.testing.assert_array_equal(series.temp_c, [20.5, 21.0])
    assert received(log) == [(NOW, NOW + 500), (NOW + 60, NOW)]


def test_a_flag_put_on_later_is_kept(log: Log) -> None:
    told = observed([NOW], wind_m_s=[1.0])
    add(log, told)
    add(log, Observations(told.series, {"wind_m_s": np.array([Flag.STUCK], np.uint16)}))
    assert np.isnan(kept(log).usable().wind_m_s).all()


def test_a_source_that_never_reported_has_no_readings_and_no_place(log: Log) -> None:
    found = kept(log, source="nobody")
    assert len(found.series) == 0
    assert np.isnan([found.series.site.latitude, found.series.site.longitude]).all()
    with log.reading() as session:
        assert weather.newest_time(session, "nobody") is None


def test_the_newest_reading_is_by_its_own_time(log: Log) -> None:
    add(log, observed([NOW + 60], wind_m_s=[1.0]), NOW + 61)
    add(log, observed([NOW], wind_m_s=[1.0]), NOW + 99)
    with log.reading() as session:
        assert weather.newest_time(session, "station") == NOW + 60


def test_readings_are_found_by_their_key_however_many_there_are(log: Log) -> None:
    add(log, observed([NOW], wind_m_s=[1.0]))
    range_query = (
        "SELECT time, wind_m_s FROM observation WHERE source = 'station' "
        f"AND time >= {NOW} AND time < {NOW + 60} ORDER BY time"
    )
    with log.reading() as session:
        connection = session.connection()
        if connection.dialect.name == "sqlite":
            plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {range_query}")
            wanted = "SEARCH observation USING PRIMARY KEY (source=? AND time>? AND time<?)"
            assert [row[-1] for row in plan] == [wanted]
        else:
            connection.exec_driver_sql("SET LOCAL enable_seqscan = off")  # one row is no reason
            plan = connection.exec_driver_sql(f"EXPLAIN (COSTS off) {range_query}")
            assert plan.scalars().first() == "Index Scan using pk_observation on observation"


def test_nothing_observed_adds_nothing(log: Log) -> None:
    assert add(log, observed([])) == 0


batches = st.lists(
    st.dictionaries(
        st.integers(0, 8).map(lambda step: NOW + 60 * step),
        st.sampled_from([np.nan, 0.0, 1.5, -40.0]),
        max_size=6,
    ),
    min_size=1,
    max_size=5,
)


# One log for all examples; each uses a source of its own.
@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(batches=batches, number=st.integers(0, 2**62))
def test_batches_in_any_overlap_leave_what_was_last_said_of_each_time(
    log: Log, batches: list[dict[int, float]], number: int
) -> None:
    source = f"station {number}"
    with log.writing() as session:
        session.connection().exec_driver_sql("DELETE FROM observation")
    said: dict[int, float] = {}
    for batch in batches:
        times = sorted(batch)
        told = observed(times, source, temp_c=[batch[time] for time in times])
        assert add(log, told) == len(batch.keys() - said.keys())
        assert add(log, told) == 0
        said |= batch
    found = kept(log, source=source).series
    assert found.times.tolist() == sorted(said)
    np.testing.assert_array_equal(found.temp_c, [said[time] for time in sorted(said)])


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(values=arrays(np.float64, 4, elements=st.floats(width=64, allow_infinity=True)))
def test_every_float_comes_back_bit_for_bit(log: Log, values: np.ndarray) -> None:
    with log.writing() as session:
        session.connection().exec_driver_sql("DELETE FROM observation")
    add(log, observed([1, 2, 3, 4], solar_w_m2=values.tolist()))
    np.testing.assert_array_equal(kept(log).series.solar_w_m2, values)


def forecast(issued_at: int, hours: int = 3, wind: float = 3.0, **changes: object) -> Forecast:
    times = [issued_at + 3600 * hour for hour in range(hours)]
    series = WeatherSeries.of(times, SITE, "model", {"wind_m_s": [wind + h for h in range(hours)]})
    plain = Forecast(series, issued_at, issued_at + 900, "an invented model")
    return replace(plain, **changes)  # type: ignore[arg-type]


def add_forecasts(log: Log, *forecasts: Forecast) -> list[bool]:
    with log.writing() as session:
        return [weather.add_forecast(session, one) for one in forecasts]


def test_a_forecast_comes_back_as_it_was_issued(log: Log) -> None:
    told = forecast(NOW)
    assert add_forecasts(log, told) == [True]
    with log.reading() as session:
        found = weather.latest_forecast(session, "model", NOW)
    assert found is not None
    assert_same(found.series, told.series)
    assert (found.issued_at, found.fetched_at) == (NOW, NOW + 900)
    assert found.attribution == "an invented model"


def test_the_same_issue_twice_is_kept_as_it_was_first(log: Log) -> None:
    assert add_forecasts(log, forecast(NOW), forecast(NOW, wind=9.0)) == [True, False]
    with log.reading() as session:
        found = weather.latest_forecast(session, "model", NOW)
    assert found is not None
    assert found.series.wind_m_s.tolist() == [3.0, 4.0, 5.0]


def test_the_latest_forecast_is_the_newest_issued_by_then(log: Log) -> None:
    add_forecasts(log, *(forecast(NOW + 3600 * n) for n in (2, 0, 1)))
    with log.reading() as session:
        for asked, wanted in ((3599, NOW), (3600, NOW + 3600), (99_999, NOW + 7200)):
            found = weather.latest_forecast(session, "model", NOW + asked)
            assert found is not None
            assert found.issued_at == wanted
        assert weather.latest_forecast(session, "model", NOW - 1) is None
        assert weather.latest_forecast(session, "another", NOW) is None


def test_forecasts_of_a_time_are_all_its_issues_cut_to_it(log: Log) -> None:
    add_forecasts(log, *(forecast(NOW + 3600 * n, wind=n) for n in (1, 0, 3)))
    with log.reading() as session:
        found = list(weather.forecasts_for(session, "model", NOW + 7200, NOW + 10_800))
    assert [(one.issued_at, one.series.wind_m_s.tolist()) for one in found] == [
        (NOW, [2.0]),
        (NOW + 3600, [2.0]),
    ]


def test_a_forecast_keeps_the_place_it_was_for(log: Log) -> None:
    """Readings of the same source elsewhere do not move it."""
    told = forecast(NOW)
    elsewhere = Site(latitude=-35.0, longitude=138.0)
    add_forecasts(log, told)
    add(log, Observations(WeatherSeries.of([NOW], elsewhere, "model", {})))
    with log.reading() as session:
        found = weather.latest_forecast(session, "model", NOW)
    assert found is not None
    assert found.series.site == SITE


def test_a_forecast_without_hours_is_kept_empty(log: Log) -> None:
    add_forecasts(log, forecast(NOW, hours=0))
    with log.reading() as session:
        found = weather.latest_forecast(session, "model", NOW)
    assert found is not None
    assert len(found.series) == 0


def test_an_issue_the_feed_stands_by_again_is_as_fresh_as_its_word(log: Log) -> None:
    told = forecast(NOW)
    later, stale = (replace(told, fetched_at=told.fetched_at + s) for s in (600, -600))
    assert add_forecasts(log, told, later, stale) == [True, False, False]
    with log.reading() as session:
        found = weather.latest_forecast(session, "model", NOW)
    assert found is not None
    assert found.fetched_at == later.fetched_at
