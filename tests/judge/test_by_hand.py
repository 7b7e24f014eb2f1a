"""What was measured by hand stands for a while where the station's values stood."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.support.farms import build, tables
from tests.support.skies import MORNING, MPH, timeline
from watcher.judge.by_hand import COUNTS_S, HandReading, corrected
from watcher.judge.farm_judgement import judge_look
from watcher.judge.timeline import Timeline
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.weather import wind_line

PLAN = FarmArrays.of(build(tables()))
NOW = MORNING + 300


def _read(now: dict[str, Any], then: dict[str, Any], **values: float) -> Timeline:
    reading = HandReading("hill", "coarse", MORNING, values)
    return corrected(PLAN, timeline(now=NOW, **now), timeline(**then), reading)


def _boom_mph(look: Timeline) -> tuple[float, float]:
    boom = judge_look(PLAN, look).boom
    case = PLAN.fields.index("hill"), PLAN.setups.index("coarse"), look.now_index
    return float(boom.wind_m_s[case]) / MPH, float(boom.gust_m_s[case]) / MPH


SAME = {"wind_mph": 8.0, "gust_mph": 11.0}


def test_the_wind_at_the_boom_is_what_was_measured_there() -> None:
    look = _read(SAME, SAME, wind_m_s=12 * MPH, gust_m_s=16 * MPH)
    assert _boom_mph(look) == pytest.approx((12.0, 16.0), rel=1e-6)


def test_a_lull_at_the_mast_does_not_clear_what_was_measured() -> None:
    look = _read({"wind_mph": 4.0}, SAME, wind_m_s=12 * MPH)
    assert _boom_mph(look)[0] == pytest.approx(12.0, rel=1e-6)


def test_what_the_mast_rises_by_is_added() -> None:
    look = _read({"wind_mph": 10.0}, SAME, wind_m_s=6 * MPH)
    assert _boom_mph(look)[0] == pytest.approx(8.0, rel=0.01)


def test_a_gust_that_was_not_read_is_no_less_than_the_wind_that_was() -> None:
    look = _read(SAME, SAME, wind_m_s=14 * MPH)
    assert _boom_mph(look)[1] == pytest.approx(14.0, rel=0.01)


def test_what_was_not_read_stays_unknown() -> None:
    blind = {"wind_mph": np.nan, "gust_mph": np.nan, "temp_c": np.nan}
    look = _read(blind, blind, wind_m_s=6 * MPH)
    assert _boom_mph(look) == (pytest.approx(6.0, rel=1e-6), pytest.approx(np.nan, nan_ok=True))
    assert np.isnan(look.series.temp_c[look.now_index])
    assert look.spoken["wind_m_s"].source == "by hand"


def test_two_thermometers_keep_their_difference() -> None:
    warm = {"temp_c": 20.0, "temp_upper_c": 21.5}
    look = _read(warm, warm, temp_c=24.0)
    now = look.now_index
    assert look.series.temp_upper_c[now] - look.series.temp_c[now] == pytest.approx(1.5)


def test_a_direction_turns_on_with_the_station() -> None:
    look = _read({"wind_from_deg": 10.0}, {"wind_from_deg": 350.0}, wind_from_deg=355.0)
    assert look.series.wind_from_deg[look.now_index] == pytest.approx(15.0)


def test_only_now_is_changed_and_it_is_said_for_how_long() -> None:
    plain, look = timeline(now=NOW, **SAME), _read(SAME, SAME, wind_m_s=12 * MPH)
    assert np.array_equal(plain.series.wind_m_s[1:], look.series.wind_m_s[1:])
    assert str(wind_line(look)) == (
        "Wind measured by hand at the boom 5 min ago; it counts for 15 min more."
    )
    assert COUNTS_S == 1200


def test_what_was_known_of_now_by_bounds_only_is_what_was_measured() -> None:
    """The hours ahead keep theirs."""
    blind = timeline(now=NOW, **SAME)
    least, most = np.full(len(blind.series), 0.0), np.full(len(blind.series), 9.0)
    bounded = replace(blind, series=blind.series.bounded({"gust_m_s": (least, most)}))
    reading = HandReading("hill", "coarse", MORNING, {"wind_m_s": 12 * MPH, "gust_m_s": 16 * MPH})
    least, most = corrected(PLAN, bounded, timeline(**SAME), reading).series.bound("gust_m_s")
    assert np.isnan([least[0], most[0]]).all()
    assert (least[1:] == 0.0).all()
    assert (most[1:] == 9.0).all()


@pytest.mark.parametrize(
    ("read", "then", "now", "stands"),
    [(50.0, 60.0, 55.0, 45.0), (95.0, 60.0, 80.0, 100.0), (5.0, 60.0, 40.0, 0.0)],
)
def test_humidity_goes_on_with_the_station_and_stays_a_share(
    read: float, then: float, now: float, stands: float
) -> None:
    look = _read({"humidity_pct": now}, {"humidity_pct": then}, humidity_pct=read)
    assert look.series.humidity_pct[look.now_index] == stands


@pytest.mark.parametrize(
    ("unknown_then", "unknown_now"), [(True, False), (False, True), (True, True)]
)
def test_where_the_station_did_not_report_both_times_the_reading_stands(
    unknown_then: bool, unknown_now: bool
) -> None:
    then, now = (
        {"temp_c": np.nan if unknown else temp}
        for unknown, temp in ((unknown_then, 18.0), (unknown_now, 25.0))
    )
    assert _read(now, then, temp_c=21.0).series.temp_c[0] == 21.0


def test_what_no_station_tells_is_said_to_be_by_hand_and_what_one_tells_stays_its_own() -> None:
    look = _read(SAME, SAME, wind_m_s=12 * MPH, humidity_pct=50.0)
    assert look.spoken["wind_m_s"].source == "mast"
    assert look.spoken["humidity_pct"].source == "by hand"
    assert look.spoken["humidity_pct"].measured
    assert look.by_hand is not None
    assert (look.by_hand.age_s, look.by_hand.counts_s) == (300.0, 900.0)
    assert look.by_hand.station["wind_m_s"] == pytest.approx(8 * MPH)


def test_a_measured_calm_is_a_calm() -> None:
    assert _boom_mph(_read(SAME, SAME, wind_m_s=0.0, gust_m_s=0.0))[0] == 0.0
