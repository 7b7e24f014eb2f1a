"""Errors of a known law are found again, and figures are those of a published library."""

from functools import cache

import numpy as np
import pytest

from tests.support.archived_forecasts import hill_city, needs_archive
from watcher.forecasts import verification
from watcher.forecasts.history import DAY_S, HOUR_S, PATH_H, History
from watcher.forecasts.scores import FEWEST_DAYS
from watcher.forecasts.station_now import TEMPERATURE, WIND
from watcher.forecasts.verification import BEGUN_H, Verified

START = 1_600_041_600  # 2020-09-14 00:00 UTC


@cache
def known_law(days: int = 60) -> tuple[History, np.ndarray]:
    """SIMULATED: two feeds. The first is off by a law of hour and direction, the second more.

    Its wind is 1 m/s too high from 12 to 15 h, 0.5 too low with a wind from the east; the second
    has a bias of 1 m/s and noise of 1 m/s beside. Temperatures are 2 K too high, all along a path
    whose error stays. The directions are 20 degrees too far clockwise, over north too.
    """
    rng = np.random.default_rng(7)
    at = START + 3 * HOUR_S * np.arange(days * 8)
    times = at[:, None] + HOUR_S * PATH_H
    hour = (times // HOUR_S) % 24
    steps = (times - times.min()) // HOUR_S
    wind = 6.0 + rng.normal(0.0, 1.0, steps.max() + 1)[steps]
    from_deg = 45.0 * rng.integers(0, 8, steps.max() + 1)[steps]
    law = np.where(hour // 3 == 4, 1.0, 0.0) - np.where(from_deg == 90.0, 0.5, 0.0)
    # What is foretold is turned by 20 degrees: still nearest to the point it came from.
    turned = (from_deg + 20.0) % 360.0
    other = law + 1.0 + rng.normal(0.0, 1.0, wind.shape)
    measured = {
        "wind_m_s": wind,
        "gust_m_s": np.full(wind.shape, np.nan),
        "wind_from_deg": from_deg,
        "temp_c": 15.0 + 5.0 * np.sin(hour * np.pi / 12.0),
        "dew_point_c": np.full(wind.shape, np.nan),
    }
    foretold = {
        "wind_m_s": np.stack([wind + law, wind + other]),
        "gust_m_s": np.full((2, *wind.shape), np.nan),
        "wind_from_deg": np.stack([turned, turned]),
        "temp_c": np.stack([measured["temp_c"] + 2.0] * 2),
        "dew_point_c": np.full((2, *wind.shape), np.nan),
    }
    return History(at, 0.0, foretold, measured), hour


@cache
def found() -> list[Verified]:
    return verification.verified(*known_law())


def test_a_known_bias_is_found_by_hour_and_direction() -> None:
    one = found()[0]
    by_hour = np.array([off.bias for off in one.by_hour["wind_m_s"]])
    east = -0.5 / 8  # a wind from the east has an eighth of every hour
    assert by_hour - east == pytest.approx(np.eye(8)[4], abs=0.03)
    by_point = np.array([off.bias for off in one.by_point["wind_m_s"]])
    assert by_point - 1.0 / 8 == pytest.approx(-0.5 * np.eye(8)[2], abs=0.06)
    assert [off.days for off in one.by_hour["temp_c"]] == [60] * 8


def test_a_known_bias_and_spread_are_found_by_lead() -> None:
    first, second = (one.by_lead for one in found())
    for off in second["wind_m_s"]:
        # 1 beside what the law has on the whole; noise 1 beside the law's own spread.
        assert off.bias == pytest.approx(1.0 + 1.0 / 8 - 0.5 / 8, abs=0.05)
        own = 1.0 + np.var([1.0] + [0.0] * 7) + np.var([-0.5] + [0.0] * 7)
        assert off.rms == pytest.approx(np.sqrt(own + off.bias**2), abs=0.05)
    assert [off.bias for off in first["temp_c"]] == pytest.approx([2.0] * 3)
    assert [off.bias for off in first["wind_from_deg"]] == pytest.approx([20.0] * 3)
    assert not any(off.known for off in first["gust_m_s"])


def test_the_station_takes_off_what_its_law_of_fading_says() -> None:
    kept = found()[0].begun["temp_c"]
    for hours, one in zip(BEGUN_H, kept, strict=True):
        left = 1.0 - TEMPERATURE.left(np.array(HOUR_S * hours), 0.0)
        assert one.given.rms == pytest.approx(2.0)
        assert one.begun.rms == pytest.approx(2.0 * float(left))
        assert one.saved.low == one.saved.high == pytest.approx(1.0 - float(left))


def test_an_error_that_does_not_last_is_told_as_it_comes_out() -> None:
    """SIMULATED noise of its own each hour: what is carried over is no help; only the bias is."""
    second = found()[1].begun["wind_m_s"][0]
    assert second.given.known
    history, _ = known_law()
    off = history.foretold["wind_m_s"][1] - history.measured["wind_m_s"]
    here = int(np.flatnonzero(PATH_H == 0)[0])
    moved = off[:, here + 1] - off[:, here] * float(WIND.left(np.array(HOUR_S), 0.0))
    assert second.begun.rms == pytest.approx(float(np.sqrt(np.mean(moved**2))), rel=0.02)


def test_the_least_off_is_named_with_its_margin() -> None:
    best = verification.least_off("wind_m_s", known_law()[0])
    assert best is not None
    feed, less = best
    assert feed == 0
    assert 0.0 < less.low < less.value < less.high
    same = verification.least_off("temp_c", known_law()[0])
    assert same is not None
    assert not same[1].low > 0  # equally wrong: none is named as better
    assert verification.least_off("gust_m_s", known_law()[0]) is None


def test_nothing_is_told_of_too_few_days() -> None:
    one = verification.verified(*known_law(FEWEST_DAYS - 1))[0]
    said = (*one.by_lead["wind_m_s"], *one.by_hour["wind_m_s"], *one.by_point["wind_m_s"])
    assert not any(off.known for off in said)
    assert all(np.isnan(off.bias) and np.isnan(off.rms) for off in said)


def test_feeds_are_compared_on_the_same_hours_only() -> None:
    history, hour = known_law()
    wind = history.foretold["wind_m_s"].copy()
    wind[0, : wind.shape[1] // 2] += 9.0  # of days that the other feed does not tell
    wind[1, : wind.shape[1] // 2] = np.nan
    partly = History(history.at, 0.0, {**history.foretold, "wind_m_s": wind}, history.measured)
    one = verification.verified(partly, hour)[0]
    assert all(abs(off.bias) < 1.0 and off.days == 30 for off in one.by_lead["wind_m_s"])
    assert one.by_hour["wind_m_s"][0].bias > 3.0  # a feed by itself has all its hours


@needs_archive
def test_figures_of_real_forecasts_are_those_of_a_library() -> None:
    """REAL: two models' runs of June 2021 at an aerodrome, against the package ``scores``."""
    xarray = pytest.importorskip("xarray")
    continuous = pytest.importorskip("scores.continuous")
    archive = hill_city()
    history = archive.history(max(archive.moments()) + 4 * DAY_S)
    hour = (history.times // HOUR_S) % 24
    both = verification.verified(history, hour)
    first = np.isfinite(history.foretold["temp_c"]).all(axis=0) & np.isfinite(
        history.measured["temp_c"]
    )
    early = first & (PATH_H >= 1) & (PATH_H <= 6)
    for feed, one in enumerate(both):
        foretold = xarray.DataArray(history.foretold["temp_c"][feed][early])
        measured = xarray.DataArray(history.measured["temp_c"][early])
        off = one.by_lead["temp_c"][0]
        assert off.bias == pytest.approx(float(continuous.additive_bias(foretold, measured)))
        assert off.rms == pytest.approx(float(continuous.rmse(foretold, measured)))
        for hours, begun in zip(BEGUN_H, one.begun["temp_c"], strict=True):
            # Worked out here from the law: the error of hour 0, less what has faded by then.
            off_at = history.foretold["temp_c"][feed] - history.measured["temp_c"]
            now, then = (off_at[:, h == PATH_H].ravel() for h in (0, hours))
            left = float(TEMPERATURE.left(np.array(HOUR_S * hours), 0.0))
            both = np.isfinite(now) & np.isfinite(then)
            nothing = xarray.DataArray(np.zeros(both.sum()))
            stated = -0.2 * np.floor(-now / 0.2 + 0.5)  # in steps of a fifth of a kelvin
            moved = xarray.DataArray((then - left * stated)[both])
            given = xarray.DataArray(then[both])
            assert begun.begun.rms == pytest.approx(float(continuous.rmse(moved, nothing)))
            assert begun.given.rms == pytest.approx(float(continuous.rmse(given, nothing)))
