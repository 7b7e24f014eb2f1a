"""The log drawn: what is in the pictures, gaps that stay gaps, hours by the farm's clock."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from watcher.charts.log import JobSpan, LoggedDays, draw_log
from watcher.charts.rose import draw_rose
from watcher.charts.season import draw_season
from watcher.charts.style import CannotDrawError
from watcher.charts.time_axis import moments, with_gaps
from watcher.judge.judgement import judge
from watcher.judge.season import Tally, tally
from watcher.limits.farm_arrays import FarmArrays
from watcher.weather.rose import rose
from watcher.weather.series import Site, WeatherSeries

START = 1_781_067_600  # 2026-06-10 00:00 in Chicago's zone
DAY = 86_400
PNG = b"\x89PNG\r\n\x1a\n"
CHICAGO = ZoneInfo("America/Chicago")


def weather(step_s: int, days: float = 1.0) -> WeatherSeries:
    times = np.arange(START, START + int(days * DAY), step_s)
    day = 2 * np.pi * (times - START) / DAY
    values = {
        "wind_m_s": 2.5 - 1.5 * np.cos(day),
        "gust_m_s": 4.0 - 2.0 * np.cos(day),
        "wind_from_deg": (180.0 + 40.0 * np.sin(day)) % 360.0,
        "temp_c": 18.0 - 7.0 * np.cos(day),
        "humidity_pct": 60.0 + 20.0 * np.cos(day),
        "cloud_pct": np.full(times.size, 50.0),
        "rain_mm_h": np.zeros(times.size),
    }
    return WeatherSeries.of(times, Site(LATITUDE, LONGITUDE, wind_height_m=3.0), "mast", values)


def plan(units: str = "us") -> FarmArrays:
    farm_file: dict[str, Any] = tables()
    farm_file["farm"]["units"] = units
    return FarmArrays.of(build(farm_file))


def days(units: str = "us", **changed: Any) -> LoggedDays:
    values: dict[str, Any] = {
        "measured": weather(60),
        "hours": weather(3600),
        "jobs": [JobSpan("job 7, coarse", START + 10 * 3600, START + 11 * 3600)],
    }
    return LoggedDays(plan(units), 0, 1, START, START + DAY, **(values | changed))


@pytest.fixture
def svg(tmp_path: Path) -> Callable[[LoggedDays], str]:
    def drawn(days: LoggedDays) -> str:
        draw_log(tmp_path / "log.svg", days)
        return (tmp_path / "log.svg").read_text()

    return drawn


class TestLog:
    def test_a_png_is_a_png(self, tmp_path: Path) -> None:
        draw_log(tmp_path / "log.png", days())
        assert (tmp_path / "log.png").read_bytes().startswith(PNG)

    def test_bounds_are_named_with_where_they_come_from(self, svg: Any) -> None:
        text = svg(days())
        for word in ("from 3 mph (label)", "up to 10 mph (label)", "gusts up to 15 mph (own)"):
            assert word in text
        assert "up to 14.4 °F (own)" in text  # 8 K of Delta T

    def test_everything_is_in_the_farms_units(self, svg: Any) -> None:
        text = svg(days("metric"))
        assert "up to 16 km/h (label)" in text
        assert "up to 8.0 °C (own)" in text
        assert "mph" not in text

    def test_jobs_are_named_and_inversions_told_in_words(self, svg: Any) -> None:
        text = svg(days())
        assert "job 7, coarse" in text
        assert "likely" in text
        assert "America/Chicago" in text

    def test_a_job_still_open_is_marked_to_the_end(self, svg: Any) -> None:
        assert "job 8, fine" in svg(days(jobs=[JobSpan("job 8, fine", START - 60, None)]))

    def test_the_same_days_give_the_same_picture(self, svg: Any) -> None:
        assert svg(days()) == svg(days())

    def test_what_was_never_measured_leaves_its_panel_empty(self, svg: Any) -> None:
        bare = weather(60).having(
            gust_m_s=np.full(1440, np.nan), humidity_pct=np.full(1440, np.nan)
        )
        assert "Delta T" in svg(days(measured=bare))

    def test_a_name_that_is_no_picture_is_refused(self, tmp_path: Path) -> None:
        with pytest.raises(CannotDrawError, match=r"neither \.png nor \.svg"):
            draw_log(tmp_path / "log.pdf", days())

    def test_a_limit_the_field_has_a_bound_for_has_a_panel(self, tmp_path: Path) -> None:
        farm_file: dict[str, Any] = tables()
        bare = draw(tmp_path, farm_file)
        assert "Soil temperature" not in bare
        farm_file["windows"]["contact"] |= {
            "soil_temperature_10cm": {"low": "10 degC", "origin": "label"},
            "leaf_dry_before": {"low": "2 h"},
        }
        text = draw(tmp_path, farm_file)
        assert "Soil temperature at 10 cm" in text
        assert "from 50 °F (label)" in text
        assert "Time since the leaf was wet" in text
        assert "from 2.0 h (own)" in text


def draw(tmp_path: Path, farm_file: dict[str, Any]) -> str:
    hours = weather(3600)
    hours = hours.having(soil_temp_10cm_c=np.full(len(hours), 12.0))
    drawn = days(hours=hours)
    draw_log(tmp_path / "log.svg", replace(drawn, plan=FarmArrays.of(build(farm_file))))
    return (tmp_path / "log.svg").read_text()


class TestGaps:
    def test_a_line_breaks_where_nothing_was_told(self) -> None:
        hours, values = with_gaps(np.array([0.0, 1, 2, 8, 9]), np.arange(5.0))
        assert hours.tolist() == [0, 1, 2, 5, 8, 9]
        assert np.isnan(values).tolist() == [False, False, False, True, False, False]

    def test_a_missing_reading_or_two_do_not_break_it(self) -> None:
        hours, _ = with_gaps(np.array([0.0, 1, 2, 5, 6]), np.arange(5.0))
        assert hours.size == 5

    @pytest.mark.parametrize("count", [0, 1])
    def test_nothing_and_one_value_are_left_as_they_are(self, count: int) -> None:
        hours, values = with_gaps(np.arange(float(count)), np.arange(float(count)))
        assert hours.size == values.size == count


class TestClock:
    def test_marks_of_a_day_are_two_hours_apart(self) -> None:
        marks = [m.hour for m in moments(START, START + DAY, CHICAGO)]
        assert marks == [*range(0, 24, 2), 0]

    def test_midnights_stay_midnights_when_the_clocks_change(self) -> None:
        """Chicago's clocks go back on 2026-11-01: that day has 25 hours."""
        start = int(datetime(2026, 10, 30, tzinfo=CHICAGO).timestamp())
        marks = moments(start, start + 5 * DAY, CHICAGO)
        assert {m.hour for m in marks} <= {0, 12}
        assert [m.day for m in marks if m.hour == 0] == [30, 31, 1, 2, 3]

    def test_an_hour_the_clocks_leave_out_is_not_marked(self) -> None:
        """On 2026-03-08 02:00 becomes 03:00 in Chicago."""
        start = int(datetime(2026, 3, 8, tzinfo=CHICAGO).timestamp())
        assert 2 not in [m.hour for m in moments(start, start + 6 * 3600, CHICAGO)]

    @pytest.mark.parametrize("length", [1, 7, 40, 400, 4000])
    def test_there_are_never_too_many(self, length: int) -> None:
        assert 2 <= len(moments(START, START + length * DAY, CHICAGO)) <= 50


class TestRose:
    def drawn(self, tmp_path: Path, **winds: Any) -> str:
        found = rose(edges_m_s=[2.0, 5.0], **winds)
        draw_rose(tmp_path / "rose.svg", found, "Wind at the mast", "metric")
        return (tmp_path / "rose.svg").read_text()

    def test_classes_and_calms_are_in_words(self, tmp_path: Path) -> None:
        text = self.drawn(tmp_path, wind_m_s=[0.1, 3.0, 3.0, 6.0], from_deg=[0, 0, 90, 270])
        for word in ("under 7", "7 to 18", "18 and more", "calm 25%", "of 4 times", "Wind [km/h]"):
            assert word in text

    def test_no_wind_at_all_says_so(self, tmp_path: Path) -> None:
        text = self.drawn(tmp_path, wind_m_s=[np.nan], from_deg=[np.nan])
        assert "no wind is known of this time" in text


class TestSeason:
    def drawn(self, tmp_path: Path, tally: Tally) -> str:
        draw_season(tmp_path / "season.svg", tally, "A season")
        return (tmp_path / "season.svg").read_text()

    def test_fields_statuses_and_limits_are_in_words(self, tmp_path: Path) -> None:
        judgement = judge(plan(), weather(3600, 5.0))
        found = tally(judgement, np.ones(120, dtype=bool))
        text = self.drawn(tmp_path, found)
        for word in ("creek side", "hill", "suitable", "unknown", "inversion"):
            assert word in text
        assert f"{found.hours[0, 0]:.0f} h" in text

    def test_a_season_of_nothing_is_drawn_too(self, tmp_path: Path) -> None:
        assert "hill" in self.drawn(tmp_path, Tally.empty(plan()))
