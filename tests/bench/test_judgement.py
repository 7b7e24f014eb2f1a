"""How long a judgement of many fields takes and how much memory, and against plain pandas."""

import time
import tracemalloc
from collections.abc import Callable
from functools import partial

import numpy as np
import pandas as pd
import pytest

from tests.support.large_farm import changeable_weather, large_farm
from watcher.farm.models import Bounds, WeedPressure, Weeds, Window
from watcher.judge.judgement import Judgement, judge
from watcher.limits.air import wet_bulb_depression
from watcher.limits.application import planned_duration
from watcher.limits.boom_wind import boom_wind
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.weed_control import control_loss
from watcher.weather.inversion import assess
from watcher.weather.series import WeatherSeries

NEIGHBOURS, HOURS = 5, 48
MB = 1e6


def _processor_s(work: Callable[[], object], times: int = 1) -> float:
    """Processor time of one run of some: what others take of the machine does not count."""
    began = time.process_time()
    for _ in range(times):
        work()
    return (time.process_time() - began) / times


def _whole(plan: FarmArrays, series: WeatherSeries) -> Judgement:
    judgement = judge(plan, series)
    assert judgement.status.shape == (len(plan.fields), 4, HOURS)
    return judgement


def _peak_mb(plan: FarmArrays, series: WeatherSeries) -> float:
    tracemalloc.start()
    try:
        _whole(plan, series)
        return tracemalloc.get_traced_memory()[1] / MB
    finally:
        tracemalloc.stop()


@pytest.mark.bench
def test_the_judgement_is_many_times_quicker_than_the_same_limits_in_plain_pandas(
    capsys: pytest.CaptureFixture[str],
) -> None:
    plan, series = FarmArrays.of(large_farm(1_000, 0)), changeable_weather(HOURS)
    pairs = _pairs(plan)
    instant = judge(plan, series).instant
    counts = np.bincount(instant.ravel(), minlength=4)
    assert np.all(counts[[0, 2, 3]] > 1_000)  # the weather passes through every status

    pandas = _statuses_in_pandas(plan, pairs, series)
    assert np.array_equal(pandas.to_numpy().reshape(instant.shape), instant)

    ours, laid_out, theirs = [], [], []
    for _ in range(8):  # by turns, so that a busy machine slows all alike
        theirs.append(_processor_s(lambda: _statuses_in_pandas(plan, pairs, series)))
        ours.append(_processor_s(lambda: judge(plan, series), 20))
        laid_out.append(_processor_s(lambda: judge(plan, series).checks, 10))
    ratio = min(theirs) / min(ours)
    with capsys.disabled():
        print(
            f"\n1000 fields x 4 setups x {HOURS} h without neighbours: {min(ours) * 1e3:.1f} ms, "
            f"with every limit laid out for every field {min(laid_out) * 1e3:.1f} ms; "
            f"plain pandas {min(theirs) * 1e3:.0f} ms, {ratio:.1f} times as long"
        )
    # 20 to 28 in a process of its own; 14 where others have grown its heap, which pandas gains by.
    assert ratio > 12


@pytest.mark.bench
def test_ten_times_the_fields_take_about_ten_times_the_time_and_memory(
    capsys: pytest.CaptureFixture[str],
) -> None:
    series = changeable_weather(HOURS)
    found = {}
    for fields in (1_000, 10_000):
        began = time.process_time()
        plan = FarmArrays.of(large_farm(fields, NEIGHBOURS))
        assert len(plan.reach.pair_field) == fields * NEIGHBOURS
        judge(plan, series)  # lays out what the plan works out once
        laid_out = time.process_time() - began
        took = min(_processor_s(partial(_whole, plan, series)) for _ in range(5))
        peak = _peak_mb(plan, series)
        found[fields] = took, peak
        with capsys.disabled():
            print(
                f"\n{fields} fields x {NEIGHBOURS} neighbours x 4 setups x {HOURS} h with "
                f"deposits: {took:.3f} s, peak {peak:.0f} MB above the plan; the plan, once: "
                f"{laid_out:.1f} s"
            )
    (small_s, small_mb), (large_s, large_mb) = found[1_000], found[10_000]
    assert large_s < 20 * small_s
    assert large_mb < 12 * small_mb
    assert large_mb < 1_000


# The same limits as a user of pandas would write them: one row a field, setup and hour, one column
# a limit, a whole column at a time. What rests on the farm alone comes ready to both; Delta T, the
# inversion finding and the wind at the boom are worked out by the same functions in both.


def _bound(bounds: Bounds[float] | None) -> tuple[float, float]:
    if bounds is None:
        return -np.inf, np.inf
    low = -np.inf if bounds.low is None else bounds.low
    return low, np.inf if bounds.high is None else bounds.high


def _fields(plan: FarmArrays) -> pd.DataFrame:
    found = plan.farm.config
    loss = found.judging.control_loss
    tolerated = {
        WeedPressure.CLEAN: loss.clean,
        WeedPressure.MODERATE: loss.moderate,
        WeedPressure.WEEDY: loss.weedy,
    }
    return pd.DataFrame(
        [
            {
                "field": name,
                "area": plan.farm.ground.area_m2(name),
                "canopy": field.canopy,
                "target": field.target,
                "tolerated": tolerated[field.weeds],
                **_limits_of(found.windows[field.window]),
            }
            for name, field in found.fields.items()
        ]
    )


def _limits_of(window: Window) -> dict[str, float]:
    row: dict[str, float] = {"least_droplets": window.droplets.low if window.droplets else 0}
    row["least_in_wind"] = window.droplets_in_marginal_wind.low
    for name in ("wind", "gust", "temperature", "delta_t", "humidity"):
        row[f"{name}_low"], row[f"{name}_high"] = _bound(getattr(window, name))
    row["dry_before"] = _bound(window.rain_free_before)[0]
    row["dry_after"] = _bound(window.rain_free_after)[0]
    return row


def _setups(plan: FarmArrays) -> pd.DataFrame:
    found = plan.farm.config
    return pd.DataFrame(
        [
            {
                "setup": name,
                "droplets": int(setup.droplets),
                "carrier": setup.carrier,
                "sprayer": found.sprayers[setup.sprayer],
            }
            for name, setup in found.setups.items()
        ]
    )


def _hours(series: WeatherSeries) -> pd.DataFrame:
    hours = pd.DataFrame(series.quantities()).assign(
        time=series.times,
        delta_t=wet_bulb_depression(series),
        inversion=assess(series).finding,
    )
    wet = hours["rain_mm_h"] >= 0.1
    hours["rain_at"] = hours["time"].where(wet).bfill()
    hours["dry_since"] = (hours["time"] + 3600).where(wet).ffill()
    hours["known_to"] = hours["time"].iloc[-1] + 3600
    hours["known_from"] = hours["time"].iloc[0]
    hours["wet"] = wet
    return hours


def _pairs(plan: FarmArrays) -> pd.DataFrame:
    """One row a field and setup, with what is worked out once for both."""
    pairs = _fields(plan).merge(_setups(plan), how="cross")
    pairs["duration"] = [
        planned_duration(area_m2=area, sprayer=sprayer, carrier_l_ha=carrier)
        for area, sprayer, carrier in zip(
            pairs["area"], pairs["sprayer"], pairs["carrier"], strict=True
        )
    ]
    pairs["loss"] = [
        control_loss(droplets, carrier, Weeds(target)).high_pct
        for droplets, carrier, target in zip(
            pairs["droplets"], pairs["carrier"], pairs["target"], strict=True
        )
    ]
    return pairs


def _statuses_in_pandas(plan: FarmArrays, pairs: pd.DataFrame, series: WeatherSeries) -> pd.Series:
    rows = pairs.merge(_hours(series), how="cross")
    boom = boom_wind(plan.kinds, series, assess(series).obukhov_m)
    rows["wind"] = plan.of_fields(boom.wind_m_s).ravel()
    doubt = pd.Series(plan.of_fields(boom.doubt_m_s).ravel())
    rows["gust"] = rows["wind"] + (rows["gust_m_s"] - rows["wind_m_s"]).clip(lower=0)
    rows["temperature"], rows["humidity"] = rows["temp_c"], rows["humidity_pct"]
    calm_top = 0.6 * rows["wind_high"]
    marginal = (rows["wind"] > calm_top) & (rows["wind"] <= rows["wind_high"])
    scales: dict[str, pd.Series | float] = {
        "wind": rows["wind_high"],
        "gust": rows["gust_high"],
        "temperature": 10.0,
        "delta_t": rows["delta_t_high"] - rows["delta_t_low"],
        "humidity": rows["humidity_low"],
    }
    doubts = {"wind": doubt, "gust": doubt}
    stands = pd.DataFrame(
        {name: _stand(rows, name, scale, doubts.get(name)) for name, scale in scales.items()}
    )
    stands["marginal wind"] = np.where(marginal, 2, 3)
    dry_after = rows[["rain_at", "known_to"]].min(axis=1) - rows["time"] - rows["duration"]
    known = (rows["rain_at"] < rows["known_to"]) | (dry_after >= rows["dry_after"])
    stands["rain after"] = _room((dry_after.where(known) / rows["dry_after"]) - 1)
    dry_before = (rows["time"] - rows["dry_since"].fillna(rows["known_from"])).clip(lower=0)
    dry_before = dry_before.where(~rows["wet"], 0.0)
    known = rows["dry_since"].notna() | (dry_before >= rows["dry_before"])
    stands["rain before"] = _room((dry_before.where(known) / rows["dry_before"]) - 1)
    stands["droplets"] = np.where(rows["droplets"] < rows["least_droplets"], 0, 3)
    too_fine = marginal & (rows["droplets"] < rows["least_in_wind"])
    stands["droplets in wind"] = np.where(too_fine, 0, 3)
    stands["control"] = _room(1 - rows["loss"] / rows["tolerated"])
    possible = np.where(rows["droplets"] >= 4, 2, 0)
    stands["inversion"] = np.select(
        [rows["inversion"] == 0, rows["inversion"] == 1, rows["inversion"] == -1],
        [3, possible, 1],
        0,
    )
    return stands.min(axis=1)


def _stand(
    rows: pd.DataFrame, name: str, scale: pd.Series | float, doubt: pd.Series | None = None
) -> pd.Series:
    below = rows[f"{name}_high"] - rows[name]
    above = rows[name] - rows[f"{name}_low"]
    margin = 0.15 if doubt is None else (doubt / scale).clip(lower=0.15)
    return _room(pd.concat([below, above], axis=1).min(axis=1, skipna=False) / scale, margin)


def _room(room: pd.Series, margin: pd.Series | float = 0.15) -> pd.Series:
    stand = pd.Series(3, index=room.index)
    stand[room < margin] = 2
    stand[room < 0] = 0
    stand[room.isna()] = 1
    return stand
