"""How quick the wet bulb of a million points is, beside two general libraries on the same points.

psychrolib runs as installed: it compiles its array functions only where numba happens to be there.
"""

import time
import warnings
from collections.abc import Callable

import numpy as np
import psychrolib
import pytest

from watcher.weather.air import wet_bulb

POINTS = 1_000_000
# The libraries are far slower: they get a sample of the same points, and their time is scaled up.
SAMPLE_OF_PSYCHROLIB, SAMPLE_OF_METPY = 20_000, 1_000
ROUNDS = 5


@pytest.fixture(scope="module")
def points() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(11)
    return (
        rng.uniform(1, 45, POINTS),
        rng.uniform(20, 100, POINTS),
        rng.uniform(80_000, 105_000, POINTS),
    )


def seconds(work: Callable[[], object], rounds: int) -> float:
    best = np.inf
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - began)
    return best


def ours(t: np.ndarray, h: np.ndarray, p: np.ndarray) -> np.ndarray:
    return wet_bulb(temp_c=t, humidity_pct=h, pressure_pa=p)


@pytest.mark.bench
def test_a_million_points_beside_psychrolib(
    points: tuple[np.ndarray, np.ndarray, np.ndarray], capsys: pytest.CaptureFixture[str]
) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    t, h, p = (a[:SAMPLE_OF_PSYCHROLIB] for a in points)
    one = np.vectorize(psychrolib.GetTWetBulbFromRelHum)
    one(t[:10], h[:10] / 100, p[:10])  # warm up a compiled version, where there is one
    theirs = one(t, h / 100, p)
    spent = seconds(lambda: one(t, h / 100, p), 1) * POINTS / t.size
    own = seconds(lambda: ours(*points), ROUNDS)
    difference = np.abs(ours(t, h, p) - theirs)[theirs > 0.5].max()
    with capsys.disabled():
        print(
            f"\nwet bulb, {POINTS} points: ours {own / POINTS * 1e9:.0f} ns a point; psychrolib"
            f" {spent / own:.0f} times as long (scaled from {t.size}),"
            f" at most {difference:.2f} K apart"
        )
    assert spent > 2 * own
    assert difference < 0.33


@pytest.mark.bench
def test_a_million_points_beside_metpy(
    points: tuple[np.ndarray, np.ndarray, np.ndarray], capsys: pytest.CaptureFixture[str]
) -> None:
    t, h, p = (a[:SAMPLE_OF_METPY] for a in points)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from metpy.calc import (  # noqa: PLC0415
            dewpoint_from_relative_humidity,
            wet_bulb_temperature,
        )
        from metpy.units import units  # noqa: PLC0415

        td = dewpoint_from_relative_humidity(t * units.degC, h * units.percent)
        wet_bulb_temperature(p[:5] * units.Pa, t[:5] * units.degC, td[:5])
        began = time.perf_counter()
        theirs = wet_bulb_temperature(p * units.Pa, t * units.degC, td).m_as("degC")
        spent = (time.perf_counter() - began) * POINTS / t.size
    own = seconds(lambda: ours(*points), ROUNDS)
    difference = np.abs(ours(t, h, p) - theirs).max()
    with capsys.disabled():
        print(
            f"\nwet bulb, {POINTS} points: ours {own / POINTS * 1e9:.0f} ns a point; MetPy"
            f" {spent / own:.0f} times as long (scaled from {t.size}),"
            f" at most {difference:.2f} K apart (it is pseudo-adiabatic)"
        )
    assert spent > 100 * own
    assert difference < 0.85
