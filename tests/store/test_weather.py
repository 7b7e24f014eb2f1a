"""Readings and forecasts come back from the log as they went in."""

from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from sqlalchemy import select

from watcher.sources.base import Flag, Forecast, GivenValues, Observations
from watcher.store import issues, weather
from watcher.store.database import Database
from watcher.store.tables import IssuedForecast
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


def add(log: Database, observations: Observations, received_at: int = NOW) -> int:
    with log.writing() as session:
        return weather.add_observations(session, observations, received_at)


def kept(
    log: Database, start: int = 0, end: int = 2 * NOW, source: str = "station"
) -> Observations:
    with log.reading() as session:
        return weather.observations(session, source, start, end)


def assert_same(found: WeatherSeries, wanted: WeatherSeries) -> None:
    assert (found.site, found.source) == (wanted.site, wanted.source)
    np.testing.assert_array_equal(found.times, wanted.times)
    for name, values in wanted.quantities().items():
        np.testing.assert_array_equal(getattr(found, name), values, err_msg=name)


def test_every_quantity_comes_back_as_it_was(log: Database) -> None:
    quantities = {name: [i + 0.1, -i / 3] for i, name in enumerate(QUANTITIES)}
    readings = observed([NOW, NOW + 300], **quantities)
    assert add(log, readings) == 2
    assert_same(kept(log).series, readings.series)


def test_a_missing_value_is_null_in_the_log_and_comes_back_missing(log: Database) -> None:
    add(log, observed([NOW, NOW + 60], wind_m_s=[np.nan, 0.0]))
    with log.reading() as session:
        stored = session.connection().exec_driver_sql(
            "SELECT wind_m_s, temp_c FROM observation ORDER BY time"
        )
        assert [tuple(row) for row in stored] == [(None, None), (0.0, None)]
    series = kept(log).series
    np.testing.assert_array_equal(series.wind_m_s, [np.nan, 0.0])
    assert np.isnan(series.temp_c).all()


def test_a_site_without_an_upper_sensor_stays_without(log: Database) -> None:
    site = replace(SITE, temp_upper_height_m=np.nan)
    add(log, Observations(WeatherSeries.of([NOW], site, "station", {})))
    found = kept(log).series.site
    assert np.isnan(found.temp_upper_height_m)
    assert replace(found, temp_upper_height_m=0.0) == replace(site, temp_upper_height_m=0.0)


# The start of the epoch, before it, and after the last second 32 bits can count.
@pytest.mark.parametrize("time", [0, -86_400, 2**31 - 1, 2**31, 253_402_300_799])
def test_times_come_back_to_the_second(log: Database, time: int) -> None:
    add(log, observed([time], wind_m_s=[1.0]))
    assert kept(log, time, time + 1).series.times.tolist() == [time]


def test_readings_are_cut_to_the_time_and_source_asked_for(log: Database) -> None:
    add(log, observed([NOW, NOW + 1, NOW + 2], wind_m_s=[1.0, 2.0, 3.0]))
    add(log, observed([NOW + 1], "other", wind_m_s=[9.0]))
    assert kept(log, NOW, NOW + 2).series.wind_m_s.tolist() == [1.0, 2.0]
    assert kept(log, source="other").series.wind_m_s.tolist() == [9.0]


def test_flags_come_back_on_the_values_they_were_put_on(log: Database) -> None:
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


def received(log: Database) -> list[tuple[int, int]]:
    with log.reading() as session:
        rows = session.connection().exec_driver_sql(
            "SELECT time, received_at FROM observation ORDER BY time"
        )
        return [(row[0], row[1]) for row in rows]


def test_the_same_reading_twice_changes_nothing(log: Database) -> None:
    flagged = {"wind_m_s": np.array([4, 0], np.uint16), "temp_c": np.array([1, 0], np.uint16)}
    readings = observed([NOW, NOW + 60], wind_m_s=[1.5, np.nan])
    readings = Observations(readings.series, flagged)
    turned = Observations(readings.series, dict(reversed(flagged.items())))
    assert add(log, readings, NOW + 100) == 2
    assert add(log, readings, NOW + 400) == 0
    assert add(log, turned, NOW + 700) == 0
    assert received(log) == [(NOW, NOW + 100), (NOW + 60, NOW + 100)]


def test_only_new_and_changed_readings_are_counted(log: Database) -> None:
    assert add(log, observed([NOW, NOW + 60], wind_m_s=[1.0, 2.0]), NOW + 100) == 2
    assert add(log, observed([NOW + 60, NOW + 120], wind_m_s=[2.0, 3.0]), NOW + 200) == 1
    assert received(log) == [(NOW, NOW + 100), (NOW + 60, NOW + 100), (NOW + 120, NOW + 200)]


def test_a_correction_replaces_its_own_quantity_and_no_other(log: Database) -> None:
    add(log, observed([NOW, NOW + 60], wind_m_s=[1.0, 2.0], temp_c=[20.0, 21.0]))
    assert add(log, observed([NOW], temp_c=[20.5]), NOW + 500) == 1
    series = kept(log).series
    np.testing.assert_array_equal(series.wind_m_s, [1.0, 2.0])
    np.testing.assert_array_equal(series.temp_c, [20.5, 21.0])
    assert received(log) == [(NOW, NOW + 500), (NOW + 60, NOW)]


def test_a_missing_value_takes_no_others_place(log: Database) -> None:
    add(log, observed([NOW], wind_m_s=[1.0], temp_c=[20.0]))
    assert add(log, observed([NOW], wind_m_s=[np.nan], temp_c=[20.0]), NOW + 500) == 0
    assert kept(log).series.wind_m_s.tolist() == [1.0]
    assert received(log) == [(NOW, NOW)]


def test_findings_go_with_their_quantity(log: Database) -> None:
    def bits(**flags: int) -> dict[str, np.ndarray]:
        return {name: np.array([flag], np.uint16) for name, flag in flags.items()}

    first = observed([NOW], wind_m_s=[90.0], temp_c=[80.0]).series
    add(log, Observations(first, bits(wind_m_s=Flag.RANGE, temp_c=Flag.RANGE)))
    assert add(log, observed([NOW], temp_c=[20.0])) == 1
    assert kept(log).flags == bits(wind_m_s=Flag.RANGE)
    late = observed([NOW], temp_c=[21.0], humidity_pct=[50.0]).series
    add(log, Observations(late, bits(temp_c=Flag.STEP)))
    assert kept(log).flags == bits(wind_m_s=Flag.RANGE, temp_c=Flag.STEP)
    assert add(log, observed([NOW], wind_m_s=[9.0], temp_c=[21.0])) == 1
    with log.reading() as session:
        text = session.connection().exec_driver_sql("SELECT flags FROM observation")
        assert text.scalars().all() == [None]


def test_findings_an_earlier_version_wrote_are_no_change(log: Database) -> None:
    """It wrote them with a space after every colon."""
    readings = Observations(
        observed([NOW], wind_m_s=[90.0]).series, {"wind_m_s": np.array([1], np.uint16)}
    )
    add(log, readings)
    with log.writing() as session:
        session.connection().exec_driver_sql("UPDATE observation SET flags = '{\"wind_m_s\": 1}'")
    assert add(log, readings, NOW + 9) == 0


def test_readings_whose_arrival_nobody_knows_came_in_when_they_were_measured(log: Database) -> None:
    with log.writing() as session:
        readings = observed([NOW, NOW + 60], wind_m_s=[1.0, 2.0])
        weather.add_observations(session, readings, None)
    assert received(log) == [(NOW, NOW), (NOW + 60, NOW + 60)]


def test_readings_are_found_by_their_times_and_no_others_between(log: Database) -> None:
    times = list(range(NOW, NOW + 1200))
    add(log, observed(times, wind_m_s=[float(t - NOW) for t in times]))
    wanted = np.array([*range(NOW - 5, NOW + 1200, 2), NOW + 5000])
    with log.reading() as session:
        found = weather.at_times(session, "station", wanted).series
        assert len(weather.at_times(session, "nobody", wanted).series) == 0
    assert found.times.tolist() == [t for t in wanted.tolist() if t in set(times)]
    np.testing.assert_array_equal(found.wind_m_s, found.times - NOW)


def test_a_flag_put_on_later_is_kept(log: Database) -> None:
    readings = observed([NOW], wind_m_s=[1.0])
    add(log, readings)
    add(log, Observations(readings.series, {"wind_m_s": np.array([Flag.STUCK], np.uint16)}))
    assert np.isnan(kept(log).usable().wind_m_s).all()


def test_a_source_that_never_reported_has_no_readings_and_no_place(log: Database) -> None:
    found = kept(log, source="nobody")
    assert len(found.series) == 0
    assert np.isnan([found.series.site.latitude, found.series.site.longitude]).all()
    with log.reading() as session:
        assert weather.newest_time(session, "nobody") is None


def test_the_newest_reading_is_by_its_own_time(log: Database) -> None:
    add(log, observed([NOW + 60], wind_m_s=[1.0]), NOW + 61)
    add(log, observed([NOW], wind_m_s=[1.0]), NOW + 99)
    with log.reading() as session:
        assert weather.newest_time(session, "station") == NOW + 60


def test_readings_are_found_by_their_key_however_many_there_are(log: Database) -> None:
    add(log, observed([NOW], wind_m_s=[1.0]))
    range_query = (
        "SELECT time, wind_m_s FROM observation WHERE farm = 1 AND source = 'station' "
        f"AND time >= {NOW} AND time < {NOW + 60} ORDER BY time"
    )
    with log.reading() as session:
        connection = session.connection()
        if connection.dialect.name == "sqlite":
            plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {range_query}")
            wanted = (
                "SEARCH observation USING PRIMARY KEY (farm=? AND source=? AND time>? AND time<?)"
            )
            assert [row[-1] for row in plan] == [wanted]
        else:
            connection.exec_driver_sql("SET LOCAL enable_seqscan = off")  # one row is no reason
            plan = connection.exec_driver_sql(f"EXPLAIN (COSTS off) {range_query}")
            assert plan.scalars().first() == "Index Scan using pk_observation on observation"


def test_nothing_observed_adds_nothing(log: Database) -> None:
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
    log: Database, batches: list[dict[int, float]], number: int
) -> None:
    source = f"station {number}"
    with log.writing() as session:
        session.connection().exec_driver_sql("DELETE FROM observation")
    said: dict[int, float] = {}
    for batch in batches:
        times = sorted(batch)
        readings = observed(times, source, temp_c=[batch[time] for time in times])
        now = said | {t: v for t, v in batch.items() if t not in said or not np.isnan(v)}
        changed = [t for t in now if t not in said or not _same(now[t], said[t])]
        assert add(log, readings) == len(changed)
        assert add(log, readings) == 0
        said = now
    found = kept(log, source=source).series
    assert found.times.tolist() == sorted(said)
    np.testing.assert_array_equal(found.temp_c, [said[time] for time in sorted(said)])


def _same(one: float, other: float) -> bool:
    return one == other or (np.isnan(one) and np.isnan(other))


said_of_a_second = st.dictionaries(
    st.sampled_from(QUANTITIES),
    st.tuples(st.floats(-40, 40), st.sampled_from([0, Flag.RANGE, Flag.STEP | Flag.STUCK])),
    min_size=1,
)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(whole=said_of_a_second, random=st.randoms(use_true_random=False))
def test_a_second_told_in_any_parts_and_order_is_the_same_row(
    log: Database, whole: dict[str, tuple[float, int]], random: Random
) -> None:
    def readings(names: list[str]) -> Observations:
        series = observed([NOW], **{name: [whole[name][0]] for name in names}).series
        return Observations(series, {n: np.array([whole[n][1]], np.uint16) for n in names})

    def rows(*parts: list[str]) -> list[tuple[object, ...]]:
        with log.writing() as session:
            session.connection().exec_driver_sql("DELETE FROM observation")
        for part in parts:
            add(log, readings(part))
        with log.reading() as session:
            found = session.connection().exec_driver_sql("SELECT * FROM observation")
            return [tuple(row) for row in found]

    names = sorted(whole)
    random.shuffle(names)
    cuts = sorted(random.randrange(len(names) + 1) for _ in range(2))
    parts = [names[: cuts[0]], names[cuts[0] : cuts[1]], names[cuts[1] :], names[: cuts[1]]]
    assert rows(*(part for part in parts if part)) == rows(sorted(whole))


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(values=arrays(np.float64, 4, elements=st.floats(width=64, allow_infinity=True)))
def test_every_float_comes_back_bit_for_bit(log: Database, values: np.ndarray) -> None:
    with log.writing() as session:
        session.connection().exec_driver_sql("DELETE FROM observation")
    add(log, observed([1, 2, 3, 4], solar_w_m2=values.tolist()))
    np.testing.assert_array_equal(kept(log).series.solar_w_m2, values)


def forecast(issued_at: int, hours: int = 3, wind: float = 3.0, **changes: object) -> Forecast:
    times = [issued_at + 3600 * hour for hour in range(hours)]
    series = WeatherSeries.of(times, SITE, "model", {"wind_m_s": [wind + h for h in range(hours)]})
    plain = Forecast(series, issued_at, issued_at + 900, "an invented model")
    return replace(plain, **changes)  # type: ignore[arg-type]


def add_forecasts(log: Database, *forecasts: Forecast) -> list[bool]:
    with log.writing() as session:
        return [weather.add_forecast(session, one) for one in forecasts]


def test_a_forecast_comes_back_as_it_was_issued(log: Database) -> None:
    readings = forecast(NOW)
    assert add_forecasts(log, readings) == [True]
    with log.reading() as session:
        found = weather.latest_forecast(session, "model", NOW)
    assert found is not None
    assert_same(found.series, readings.series)
    assert (found.issued_at, found.fetched_at) == (NOW, NOW + 900)
    assert found.attribution == "an invented model"


def test_the_same_issue_twice_is_kept_once(log: Database) -> None:
    assert add_forecasts(log, forecast(NOW), forecast(NOW)) == [True, False]


def test_the_latest_forecast_is_the_newest_issued_by_then(log: Database) -> None:
    add_forecasts(log, *(forecast(NOW + 3600 * n) for n in (2, 0, 1)))
    with log.reading() as session:
        for asked, wanted in ((3599, NOW), (3600, NOW + 3600), (99_999, NOW + 7200)):
            found = weather.latest_forecast(session, "model", NOW + asked)
            assert found is not None
            assert found.issued_at == wanted
        assert weather.latest_forecast(session, "model", NOW - 1) is None
        assert weather.latest_forecast(session, "another", NOW) is None


def test_forecasts_of_a_time_are_all_its_issues_cut_to_it(log: Database) -> None:
    add_forecasts(log, *(forecast(NOW + 3600 * n, wind=n) for n in (1, 0, 3)))
    with log.reading() as session:
        found = list(weather.forecasts_for(session, "model", NOW + 7200, NOW + 10_800))
    assert [(one.issued_at, one.series.wind_m_s.tolist()) for one in found] == [
        (NOW, [2.0]),
        (NOW + 3600, [2.0]),
    ]


def test_a_forecast_keeps_the_place_it_was_for(log: Database) -> None:
    """Readings of the same source elsewhere do not move it."""
    readings = forecast(NOW)
    elsewhere = Site(latitude=-35.0, longitude=138.0)
    add_forecasts(log, readings)
    add(log, Observations(WeatherSeries.of([NOW], elsewhere, "model", {})))
    with log.reading() as session:
        found = weather.latest_forecast(session, "model", NOW)
    assert found is not None
    assert found.series.site == SITE


def test_a_forecast_without_hours_is_kept_empty(log: Database) -> None:
    add_forecasts(log, forecast(NOW, hours=0))
    with log.reading() as session:
        found = weather.latest_forecast(session, "model", NOW)
    assert found is not None
    assert len(found.series) == 0


def test_an_issue_the_feed_stands_by_again_is_as_fresh_as_its_word(log: Database) -> None:
    issue = forecast(NOW)
    later, stale = (replace(issue, fetched_at=issue.fetched_at + s) for s in (600, -600))
    assert add_forecasts(log, issue, later, stale) == [True, False, False]
    with log.reading() as session:
        found = weather.latest_forecast(session, "model", NOW)
    assert found is not None
    assert found.fetched_at == later.fetched_at


def bounded(times: list[int], gusts: list[float], most: list[float]) -> Observations:
    """Reports of a light wind, some of which tell no gust but the most it may be."""
    given = observed(times, wind_m_s=[2.0] * len(times), gust_m_s=gusts)
    sides = (np.where(np.isnan(most), np.nan, 2.0), np.array(most))
    return replace(given, series=given.series.bounded({"gust_m_s": sides}))


def test_bounds_come_back_as_they_were_told(log: Database) -> None:
    add(log, bounded([1, 2, 3], [np.nan, 9.0, np.nan], [7.0, np.nan, np.nan]))
    found = kept(log).series.bounds
    assert found.keys() == {"gust_m_s"}
    assert found["gust_m_s"][0].tolist() == pytest.approx([2.0, np.nan, np.nan], nan_ok=True)
    assert found["gust_m_s"][1].tolist() == pytest.approx([7.0, np.nan, np.nan], nan_ok=True)


def test_a_gust_told_later_takes_the_place_of_its_bounds(log: Database) -> None:
    add(log, bounded([1], [np.nan], [7.0]))
    add(log, observed([1], temp_c=[20.0]))
    assert kept(log).series.bounds["gust_m_s"][1].tolist() == [7.0]
    add(log, observed([1], gust_m_s=[11.0]))
    found = kept(log).series
    assert (found.gust_m_s.tolist(), dict(found.bounds)) == ([11.0], {})


def polled(log: Database, *forecasts: Forecast) -> list[Forecast]:
    """What the log has of a feed after it told these."""
    add_forecasts(log, *forecasts)
    with log.reading() as session:
        return list(weather.forecasts_for(session, "model", 0, 1 << 40))


def without_issue(at: int, first: int = NOW, hours: int = 30, wind: float = 3.0) -> Forecast:
    """What a feed that tells no time of issue answers at a time: its hours begin then."""
    begin = (at - first) // 3600
    times = first + 3600 * np.arange(begin, begin + hours)
    series = WeatherSeries.of(times, SITE, "model", {"wind_m_s": wind + np.sin(times)})
    return Forecast(series, at, at, "an invented model")


def test_one_run_polled_all_day_is_one_issue(log: Database) -> None:
    half_hours = [without_issue(NOW + 1800 * n) for n in range(48)]
    (found,) = polled(log, *half_hours)
    assert (found.issued_at, found.fetched_at) == (NOW, NOW + 47 * 1800)
    assert found.first_fetched_at == NOW
    assert found.series.times[-1] == half_hours[-1].series.times[-1]  # hours that came in later


def test_a_new_run_is_a_new_issue_and_kept_once(log: Database) -> None:
    found = [without_issue(NOW + 1800 * n, wind=3.0 if n < 3 else 4.0) for n in range(6)]
    assert [one.issued_at for one in polled(log, *found)] == [NOW, NOW + 3 * 1800]


def test_an_issue_that_was_changed_is_kept_beside_what_it_was(log: Database) -> None:
    first, changed = forecast(NOW), forecast(NOW, wind=9.0, fetched_at=NOW + 1800)
    assert [one.series.wind_m_s[0] for one in polled(log, first, changed, changed)] == [3.0, 9.0]
    with log.reading() as session:
        newest = weather.latest_forecast(session, "model", NOW + 1800)
    assert newest is not None
    assert newest.series.wind_m_s[0] == 9.0


def test_a_changed_bound_is_a_changed_issue(log: Database) -> None:
    first = forecast(NOW)
    sides = (np.zeros(3), np.full(3, 2.0))
    changed = forecast(NOW, series=first.series.bounded({"rain_mm_h": sides}), fetched_at=NOW + 999)
    assert len(polled(log, first, changed)) == 2


def test_a_feed_that_says_the_same_for_a_day_has_issued_it_again(log: Database) -> None:
    same = [without_issue(NOW + 3600 * n, hours=200) for n in range(25)]
    assert [one.issued_at for one in polled(log, *same)] == [NOW, NOW + 24 * 3600]


def test_values_as_the_feed_gave_them_are_kept_with_their_issue(log: Database) -> None:
    def as_given(first: int, count: int) -> tuple[GivenValues, ...]:
        starts = NOW + 3600 * np.arange(first, first + count)
        values = np.where(starts == NOW + 3600, np.nan, 1.0 * starts)
        return (GivenValues("gust_m_s", "maximum", starts, np.full(count, 3600), values),)

    said = replace(without_issue(NOW), given=as_given(-1, 31), run_at=NOW - 7200, model="a model")
    later = without_issue(NOW + 3600)
    later = replace(later, issued_at=NOW, given=as_given(0, 31), run_at=NOW - 7200, model="a model")
    (found,) = polled(log, said, later)
    assert (found.run_at, found.model) == (NOW - 7200, "a model")
    with log.reading() as session:
        number = session.scalars(select(IssuedForecast.id)).one()
        (values,) = issues.given_values(session, number)
    assert (values.quantity, values.statistic) == ("gust_m_s", "maximum")
    assert values.starts.tolist() == (NOW + 3600 * np.arange(-1, 31)).tolist()
    assert np.isnan(values.values[2])
    assert values.values[0] == NOW - 3600
    assert set(values.intervals) == {3600}
