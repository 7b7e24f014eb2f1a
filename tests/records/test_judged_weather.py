"""The weather of a job: at which moments, and that it is what the watch judged by."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support import sprayed
from tests.support.sprayed import HOUR, MINUTE, MORNING
from watcher.judge.judgement import judge
from watcher.limits.status import Status
from watcher.records.facts import Moment
from watcher.records.form import local
from watcher.records.judged_weather import marks, moment
from watcher.sources.base import Flag, Observations
from watcher.store import weather
from watcher.weather.series import Site, WeatherSeries

CHICAGO = ZoneInfo("America/Chicago")
NOON = MORNING + HOUR


@pytest.fixture
def seen(desk):
    """The weather of a moment of the field south of the orchard."""

    def see(at: int = NOON) -> Moment:
        with desk.store.reading() as session:
            return moment(
                session,
                desk.plan,
                sprayed.composing(session, desk.farm),
                at=at,
                mark="start",
                field="creek_side",
                setup="coarse",
                paused=False,
            )

    return see


@pytest.mark.parametrize(
    ("minutes", "names"),
    [
        (0, ["start", "end"]),
        (29, ["start", "end"]),
        (30, ["start", "end"]),
        (31, ["start", "30 min", "end"]),
        (90, ["start", "30 min", "60 min", "end"]),
        (95, ["start", "30 min", "60 min", "90 min", "end"]),
    ],
)
def test_the_weather_is_kept_at_the_start_each_half_hour_and_the_end(
    minutes: int, names: list[str]
) -> None:
    assert [name for _, name in marks(MORNING, MORNING + minutes * MINUTE)] == names


@pytest.mark.parametrize(
    ("start", "clock"),
    [
        # Daylight saving time in the United States ends on 1 November 2026 at 2:00, and begins on
        # 8 March: an hour of the clock comes twice, or not at all. Offsets by hand.
        (
            datetime(2026, 11, 1, 5, 45, tzinfo=UTC),
            ["00:45-05:00", "01:15-05:00", "01:45-05:00", "01:15-06:00", "01:45-06:00"],
        ),
        (
            datetime(2026, 3, 8, 7, 15, tzinfo=UTC),
            ["01:15-06:00", "01:45-06:00", "03:15-05:00", "03:45-05:00", "04:15-05:00"],
        ),
    ],
)
def test_half_hours_are_elapsed_time_when_the_clock_is_changed(
    start: datetime, clock: list[str]
) -> None:
    began = int(start.timestamp())
    found = [at for at, _ in marks(began, began + 2 * HOUR)]
    assert np.diff(found).tolist() == [1800] * 4
    assert [local(at, CHICAGO)[11:].replace(":00-", "-") for at in found] == clock


@given(start=st.integers(0, 2**31), length=st.integers(0, 2 * 86_400))
def test_no_more_than_half_an_hour_of_a_job_goes_unseen(start: int, length: int) -> None:
    found = [at for at, _ in marks(start, start + length)]
    assert found[0] == start
    assert found[-1] == start + length
    assert all(0 < step <= 1800 for step in np.diff(found[:-1]))
    assert found[-1] - found[-2] <= 1800


def test_it_is_what_the_watch_judges_by_at_that_moment(desk, job, seen) -> None:
    kept = seen()
    with desk.store.reading() as session:
        timeline = sprayed.composing(session, desk.farm)(NOON)
    judgement = judge(desk.plan, timeline.series)
    case = (
        desk.plan.fields.index("creek_side"),
        desk.plan.setups.index("coarse"),
        timeline.now_index,
    )
    assert kept.boom_wind_m_s == judgement.boom.wind_m_s[case]
    assert kept.status == Status(int(judgement.instant[case])).word
    assert kept.limits["wind"].value == judgement.boom.wind_m_s[case]


def test_measured_values_are_kept_with_height_source_and_age(job, seen) -> None:
    kept = seen(NOON + 30)
    assert (kept.wind_m_s, kept.gust_m_s, kept.wind_from_deg) == pytest.approx((2.5, 3.6, 180.0))
    assert (kept.temp_c, kept.humidity_pct) == (22.0, 55.0)
    assert kept.wind_height_m == 3.048
    wind = kept.spoken["wind_m_s"]
    assert (wind.source, wind.measured, wind.age_s) == ("mast", True, 30.0)


def test_the_boom_is_the_canopy_and_the_boom_height_above_ground(job, seen) -> None:
    assert seen().boom_height_m == pytest.approx(0.12 + 0.508)  # the invented farm's own


def test_delta_t_agrees_with_an_independent_library(job, seen) -> None:
    import psychrolib  # noqa: PLC0415  # slow to import

    psychrolib.SetUnitSystem(psychrolib.SI)
    pressure = psychrolib.GetStandardAtmPressure(0.0)
    wet_bulb = psychrolib.GetTWetBulbFromRelHum(22.0, 0.55, pressure)
    assert seen().delta_t_k == pytest.approx(22.0 - wet_bulb, abs=0.1)


def test_the_orchard_north_of_the_field_is_downwind_of_a_south_wind(job, seen) -> None:
    (downwind,) = seen().downwind
    assert (downwind.neighbour, downwind.side) == ("orchard", "N")
    assert downwind.gap_m == pytest.approx(10.0, abs=0.1)  # 410 m less 400 m
    (landing,) = seen().landing
    assert landing.tolerance_pct == 0.1
    assert 0 < landing.edge_pct < landing.upper_pct


def test_with_the_wind_from_the_north_nobody_is_downwind(desk, farm, seen) -> None:
    sprayed.put_readings(desk.store, MORNING, NOON + 1, wind_from_deg=0.0)
    assert seen().downwind == ()


def test_each_line_of_evidence_for_an_inversion_is_kept_by_name(job, seen) -> None:
    kept = seen()
    assert set(kept.evidence) == {"gradient", "sky", "radiation", "direction", "clock", "warming"}
    assert kept.evidence["gradient"] == "unknown"  # no second thermometer
    assert kept.inversion == "none"


def test_without_a_station_the_weather_is_not_known_and_never_suitable(desk, seen) -> None:
    kept = seen()
    assert kept.wind_m_s is None
    assert kept.delta_t_k is None
    assert kept.status == "unknown"
    assert kept.spoken["wind_m_s"].source is None
    assert kept.downwind == ()
    assert kept.landing[0].upper_pct is None


def test_a_silent_station_leaves_its_quantities_unknown_and_tells_their_age(desk, seen) -> None:
    sprayed.put_readings(desk.store, MORNING - HOUR, MORNING + 1)
    kept = seen(MORNING + HOUR)
    assert kept.wind_m_s is None
    assert kept.spoken["wind_m_s"].age_s == HOUR


def test_readings_are_counted_and_what_was_doubted_is_named(desk, seen) -> None:
    times = NOON - np.arange(10)[::-1] * MINUTE
    series = WeatherSeries.of(
        times,
        Site(41.0, -96.0, wind_height_m=3.048),
        "mast",
        {"wind_m_s": np.full(10, 2.5), "gust_m_s": np.full(10, 3.6), "wind_from_deg": np.zeros(10)},
    )
    doubts = np.zeros(10, dtype=np.uint16)
    doubts[2], doubts[3] = Flag.STEP, Flag.STEP | Flag.RANGE
    with desk.store.writing() as session:
        checked = Observations(series, {"gust_m_s": doubts})
        weather.add_observations(session, checked, received_at=NOON)
    (quality,) = seen().quality
    assert quality.readings == 10
    assert quality.flagged == {"gust_m_s: range": 1, "gust_m_s: step": 2}
    assert quality.came_later == 0


def test_readings_that_arrived_only_afterwards_are_told(desk, seen) -> None:
    series = WeatherSeries.of(
        [NOON - 120, NOON - 60, NOON],
        Site(41.0, -96.0),
        "mast",
        {"wind_m_s": [2.0, 2.0, 2.0]},
    )
    with desk.store.writing() as session:
        weather.add_observations(session, Observations(series), received_at=NOON + HOUR)
    (quality,) = seen().quality
    assert quality.came_later == 3
