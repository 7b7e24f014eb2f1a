"""The log for years: bins are right whenever they are made, and readings go only after them."""

import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from alembic import command

from tests.support.new_log import new_log
from watcher.sources.base import Flag, Forecast, Observations
from watcher.store import aggregates, migrations, weather
from watcher.store.aggregates import DAY_S, Tended, tend
from watcher.store.database import Database
from watcher.weather.bins import HOUR_S, TEN_MINUTES_S, Bins, over_bins
from watcher.weather.series import QUANTITIES, Site, WeatherSeries

SITE = Site(44.5, -100.25, elevation_m=400.0, wind_height_m=3.0)
START = 1_699_999_200  # 2023-11-14 22:00 UTC, by GNU date
NOW = START + 40 * DAY_S
FOREVER = 100 * 365 * DAY_S


def readings(start: int, end: int, step_s: int = 60, seed: int = 1) -> WeatherSeries:
    rng = np.random.default_rng(seed)
    times = np.arange(start, end, step_s)
    values = {name: rng.normal(10.0, 2.0, times.size) for name in QUANTITIES}
    values["wind_from_deg"] = rng.uniform(0.0, 360.0, times.size)
    values["wind_spread_deg"] = np.abs(values["wind_spread_deg"])
    for column in values.values():
        column[rng.random(times.size) < 0.1] = np.nan
    values["net_w_m2"][:] = np.nan  # what a station never measures
    return WeatherSeries.of(times, SITE, "mast", values)


def keep(log: Database, series: WeatherSeries, flags: dict[str, np.ndarray] | None = None) -> None:
    with log.writing() as session:
        weather.add_observations(session, Observations(series, flags or {}), NOW)


def tended(log: Database, now: int = NOW, keep_raw_s: float = FOREVER) -> list[Tended]:
    """Tend until there is nothing more to do at once."""
    done = []
    while not done or done[-1].more:
        with log.writing() as session:
            done.append(tend(session, now, keep_raw_s=keep_raw_s))
    return done


def kept(log: Database, width_s: int = HOUR_S, start: int = 0, end: int = NOW) -> Bins:
    with log.reading() as session:
        return aggregates.bins(session, "mast", width_s, start, end)


def count_readings(log: Database) -> int:
    with log.reading() as session:
        return len(weather.observations(session, "mast", 0, NOW).series)


def assert_same(found: Bins, wanted: Bins) -> None:
    np.testing.assert_array_equal(found.series.times, wanted.series.times)
    np.testing.assert_array_equal(found.readings, wanted.readings)
    for name in QUANTITIES:
        np.testing.assert_array_equal(getattr(found.series, name), getattr(wanted.series, name))
        np.testing.assert_array_equal(found.known[name], wanted.known[name])
        np.testing.assert_array_equal(found.doubted[name], wanted.doubted[name])
    for name in ("east_m_s", "north_m_s", "temp_low_c", "temp_high_c", "rain_mm"):
        np.testing.assert_array_equal(getattr(found, name), getattr(wanted, name))


@pytest.mark.parametrize("width_s", aggregates.WIDTHS_S)
@pytest.mark.parametrize("made", [False, True])
def test_bins_are_those_of_the_readings_made_or_not(
    log: Database, width_s: int, made: bool
) -> None:
    series = readings(START + 1500, START + 2 * DAY_S)
    keep(log, series)
    if made:
        assert sum(t.hours_made for t in tended(log)) == 48
    assert_same(kept(log, width_s), over_bins(series, width_s=width_s))


def test_the_site_and_the_source_come_with_them(log: Database) -> None:
    keep(log, readings(START, START + HOUR_S))
    series = kept(log).series
    assert (series.site, series.source) == (SITE, "mast")


def test_flagged_values_are_left_out_and_counted(log: Database) -> None:
    series = readings(START, START + HOUR_S)
    flags = {"wind_m_s": np.where(np.arange(60) < 20, Flag.STEP, 0).astype(np.uint16)}
    keep(log, series, flags)
    tended(log)
    bins = kept(log)
    assert bins.doubted["wind_m_s"][0] == 20
    assert bins.series.wind_m_s[0] == pytest.approx(np.nanmean(series.wind_m_s[20:]))


def test_the_hour_that_runs_is_not_made_yet_and_asked_for_all_the_same(log: Database) -> None:
    now = START + 5 * HOUR_S + 1800
    keep(log, readings(START, now))
    [done] = tended(log, now)
    assert done.hours_made == 5
    assert len(kept(log, end=now)) == 6


def test_a_reading_that_comes_in_late_changes_its_bins(log: Database) -> None:
    series = readings(START, START + DAY_S)
    missing = (series.times >= START + 4 * HOUR_S) & (series.times < START + 6 * HOUR_S)
    keep(log, series.at(~missing))
    tended(log)
    keep(log, series.at(missing))
    assert_same(kept(log), over_bins(series, width_s=HOUR_S))  # before they are made anew
    tended(log)
    assert_same(kept(log), over_bins(series, width_s=HOUR_S))


def test_a_reading_the_source_takes_back_changes_its_bins(log: Database) -> None:
    series = readings(START, START + HOUR_S)
    keep(log, series)
    tended(log)
    changed = series.having(temp_c=series.temp_c + 5.0)
    keep(log, changed)
    tended(log)
    assert_same(kept(log), over_bins(changed, width_s=HOUR_S))


def test_each_call_does_a_bounded_amount(log: Database) -> None:
    keep(log, readings(START, START + 10 * DAY_S, step_s=600))
    with log.writing() as session:
        done = tend(session, NOW, keep_raw_s=FOREVER, hours_at_once=30)
    assert done == Tended(hours_made=30, readings_removed=0, forecasts_removed=0, more=True)
    assert sum(t.hours_made for t in tended(log)) == 210


def test_old_readings_go_and_their_bins_stay(log: Database) -> None:
    series = readings(START, START + 6 * DAY_S)
    keep(log, series)
    done = tended(log, NOW, keep_raw_s=NOW - (START + 4 * DAY_S) - 900)
    # The cut is at a whole hour, never within one.
    assert count_readings(log) == 2 * 1440
    assert sum(t.readings_removed for t in done) == 4 * 1440
    for width_s in aggregates.WIDTHS_S:
        assert_same(kept(log, width_s), over_bins(series, width_s=width_s))


def test_no_reading_goes_before_its_bins_are_made(log: Database) -> None:
    keep(log, readings(START, START + 4 * DAY_S))
    with log.writing() as session:
        done = tend(session, NOW, keep_raw_s=DAY_S, hours_at_once=10)
    assert (done.hours_made, done.readings_removed) == (10, 600)
    assert_same(kept(log), over_bins(readings(START, START + 4 * DAY_S), width_s=HOUR_S))


def test_a_few_late_readings_do_not_displace_bins_whose_readings_are_gone(log: Database) -> None:
    series = readings(START, START + DAY_S)
    keep(log, series)
    tended(log, keep_raw_s=DAY_S)
    assert count_readings(log) == 0
    keep(log, series.at(slice(100, 103)))
    assert_same(kept(log), over_bins(series, width_s=HOUR_S))
    tended(log, keep_raw_s=DAY_S)
    assert_same(kept(log), over_bins(series, width_s=HOUR_S))


def beginning(log: Database) -> int | None:
    with log.reading() as session:
        return aggregates.beginning(session)


def test_the_log_begins_with_its_first_reading_even_once_that_is_gone(log: Database) -> None:
    assert beginning(log) is None
    keep(log, readings(START, START + DAY_S))
    assert beginning(log) == START
    tended(log, keep_raw_s=DAY_S)
    assert count_readings(log) == 0
    assert beginning(log) == START


def test_the_log_begins_with_a_forecast_where_that_is_first(log: Database) -> None:
    keep(log, readings(START, START + HOUR_S))
    series = WeatherSeries.of([START], SITE, "feed", {"temp_c": [1.0]})
    with log.writing() as session:
        weather.add_forecast(session, Forecast(series, START - 600, START, "invented"))
    assert beginning(log) == START - 600


def test_old_forecasts_go_with_their_hours(log: Database) -> None:
    def forecast(issued_at: int) -> Forecast:
        times = issued_at + HOUR_S * np.arange(3)
        series = WeatherSeries.of(times, SITE, "feed", {"temp_c": [1.0, 2.0, 3.0]})
        return Forecast(series, issued_at, issued_at, "invented")

    with log.writing() as session:
        for issued_at in range(START, START + 60 * HOUR_S, HOUR_S):
            weather.add_forecast(session, forecast(issued_at))
    done = tended(log, keep_raw_s=NOW - (START + 50 * HOUR_S))
    assert sum(t.forecasts_removed for t in done) == 50
    with log.reading() as session:
        left = list(weather.forecasts_for(session, "feed", 0, NOW))
    assert [f.issued_at for f in left] == list(
        range(START + 50 * HOUR_S, START + 60 * HOUR_S, 3600)
    )


def test_hours_are_hours_on_the_days_the_clocks_change(log: Database) -> None:
    """2023-11-05, 25 hours in Chicago: from 05:00 to 06:00 UTC of the next day."""
    start = 1_699_160_400
    keep(log, readings(start, start + 25 * HOUR_S))
    tended(log)
    bins = kept(log)
    assert len(bins) == 25
    assert (bins.readings == 60).all()


class TestFinest:
    def test_a_day_is_its_readings(self, log: Database) -> None:
        keep(log, readings(START, START + DAY_S))
        assert len(self._finest(log, START, START + DAY_S)) == 1440

    def test_a_longer_time_is_ten_minutes_then_hours(self, log: Database) -> None:
        keep(log, readings(START, START + 10 * DAY_S))
        assert len(self._finest(log, START, START + 10 * DAY_S)) == 10 * 144
        assert len(self._finest(log, START, START + 10 * DAY_S, most=1000)) == 240

    def test_a_day_whose_readings_are_gone_is_ten_minutes(self, log: Database) -> None:
        keep(log, readings(START, START + 3 * DAY_S))
        tended(log, keep_raw_s=NOW - START - 2 * DAY_S)
        assert len(self._finest(log, START, START + DAY_S)) == 144
        assert len(self._finest(log, START + 2 * DAY_S, START + 3 * DAY_S)) == 1440

    def test_flagged_values_are_missing_from_readings_too(self, log: Database) -> None:
        series = readings(START, START + HOUR_S)
        keep(log, series, {"temp_c": np.full(60, Flag.STUCK, np.uint16)})
        assert np.isnan(self._finest(log, START, START + HOUR_S).temp_c).all()

    @staticmethod
    def _finest(log: Database, start: int, end: int, most: int = 2000) -> WeatherSeries:
        with log.reading() as session:
            return aggregates.finest(session, "mast", start, end, most=most)


def test_blocks_are_the_bins_in_parts_and_need_no_more_memory_for_more(log: Database) -> None:
    series = readings(START - 30 * DAY_S, START + 30 * DAY_S, step_s=600)
    keep(log, series)
    tended(log)

    def peak(days: int) -> int:
        with log.reading() as session:
            tracemalloc.start()
            try:
                for block in aggregates.blocks(
                    session, "mast", TEN_MINUTES_S, START - days * DAY_S, START, block_s=2 * DAY_S
                ):
                    assert len(block) == 288
                return tracemalloc.get_traced_memory()[1]
            finally:
                tracemalloc.stop()

    peak(2)  # what is made once is made
    assert peak(30) < 1.5 * peak(6)


def test_a_file_gives_back_the_room_of_what_went(tmp_path: Path) -> None:
    log = new_log(tmp_path / "watch.db")
    keep(log, readings(START, START + 30 * DAY_S))
    tended(log)
    log.close()  # folds the journal into the file
    before = (tmp_path / "watch.db").stat().st_size
    tended(log, keep_raw_s=DAY_S)
    for _ in range(20):
        tended(log, keep_raw_s=DAY_S)
    log.close()
    assert (tmp_path / "watch.db").stat().st_size < 0.5 * before


def test_a_log_of_the_first_version_learns_which_hours_are_to_be_made(tmp_path: Path) -> None:
    log = Database(f"sqlite:///{tmp_path / 'watch.db'}", lasting=False)
    with log.writing() as session:
        connection = session.connection()
        command.upgrade(migrations.config(connection), "0001")
        connection.exec_driver_sql(
            "INSERT INTO site (source, latitude, longitude, elevation_m, wind_height_m, "
            "temp_height_m) VALUES ('mast', 44.5, -100.25, 400, 3, 2)"
        )
        connection.exec_driver_sql(
            "INSERT INTO observation (source, time, received_at, wind_m_s) VALUES (?, ?, ?, ?)",
            [("mast", time, NOW, 3.0) for time in range(START, START + 3 * HOUR_S, 60)],
        )
    log.upgrade()
    tended(log)
    found = kept(log)
    assert found.readings.tolist() == [60, 60, 60]
    assert found.series.wind_m_s.tolist() == [3.0, 3.0, 3.0]
    log.close()
