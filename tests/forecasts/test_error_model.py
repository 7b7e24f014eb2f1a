"""What is learned of errors: the law they follow, and a prior where there are none."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.forecasts import error_model
from watcher.forecasts.history import AHEAD, PATH_H
from watcher.forecasts.spaces import DIRECTION, GUST, SPACES, WIND, error, into, out_of

NONE = np.full((3, PATH_H.size), np.nan)


@pytest.mark.parametrize("space", SPACES, ids=lambda space: space.name)
def test_without_pairs_the_prior_speaks(space: error_model.Space) -> None:
    offset = error_model.fit_offset(space, NONE, NONE, np.zeros(NONE.shape), np.zeros(NONE.shape))
    assert offset.at(np.ones(2), np.zeros(2)) == pytest.approx(0.0)
    spread = error_model.fit_spread(space, NONE, np.zeros(NONE.shape))
    assert spread == pytest.approx(space.prior_spread(error_model.LEAD_H))


def test_a_known_law_is_found_again() -> None:
    rng = np.random.default_rng(4)
    shape = (240, PATH_H.size)
    age = np.repeat(np.arange(240)[::-1, None] / 8.0, PATH_H.size, axis=1)
    hour = rng.uniform(0, 2 * np.pi, shape)
    foretold = rng.uniform(1.0, 3.0, shape)
    paths = rng.standard_normal(shape)
    for k in range(1, PATH_H.size):
        paths[:, k] = 0.8 * paths[:, k - 1] + 0.6 * paths[:, k]
    off = 0.3 + 0.1 * (foretold - 2.0) + 0.2 * np.cos(hour) + 0.5 * paths
    offset = error_model.fit_offset(WIND, foretold, off, hour, age)
    assert offset.factors == pytest.approx([0.3, 0.1, 0.2, 0.0], abs=0.06)
    residuals = off - offset.at(foretold, hour)
    spread = error_model.fit_spread(WIND, residuals, age)
    assert spread[AHEAD] == pytest.approx(0.5, rel=0.15)
    left = error_model.fit_kept(residuals / spread, age)
    assert left[1:4] == pytest.approx([0.8, 0.64, 0.51], abs=0.08)


def test_old_pairs_count_for_less() -> None:
    foretold = np.full((2, PATH_H.size), 2.0)
    off = np.stack([np.full(PATH_H.size, 1.0), np.full(PATH_H.size, -1.0)])
    age = np.stack([np.full(PATH_H.size, 90.0), np.zeros(PATH_H.size)])
    found = error_model.fit_offset(WIND, foretold, off, np.zeros(off.shape), age)
    assert float(found.at(np.array(2.0), np.array(0.0))) < -0.3


def test_what_is_measured_now_moves_the_next_hours_most() -> None:
    paths = np.zeros((4, PATH_H.size))
    now = np.where(PATH_H <= 0, 2.0, np.nan)
    moved = error_model.shifted(paths, now, error_model.kept(np.arange(PATH_H.size, dtype=float)))[
        0
    ]
    ahead = moved[AHEAD]
    assert 1.0 < ahead[0] < 2.0
    assert (np.diff(ahead[:24]) < 0).all()
    assert abs(ahead[-1]) < 0.05


def test_an_error_now_beyond_three_spreads_counts_as_three() -> None:
    paths = np.zeros((1, PATH_H.size))
    left = error_model.kept(np.arange(PATH_H.size, dtype=float))
    far, three = (
        error_model.shifted(paths, np.where(PATH_H == 0, off, np.nan), left) for off in (30.0, 3.0)
    )
    assert far == pytest.approx(three)


def test_unknown_hours_of_a_path_are_filled_near_its_known_ones() -> None:
    path = np.where(PATH_H <= 10, 2.0, np.nan)[None]
    filled = error_model.completed(path, np.zeros(path.shape))[0]
    assert (filled[PATH_H <= 10] == 2.0).all()
    assert 1.0 < filled[PATH_H == 11][0] < 2.0
    assert abs(filled[-1]) < 0.05


@given(st.floats(0, 40), st.floats(0, 60), st.floats(-3, 3))
def test_a_gust_is_never_below_its_wind(wind: float, gust: float, off: float) -> None:
    weather = {"wind_m_s": np.array([wind]), "gust_m_s": np.array([max(wind, gust)])}
    ratio = into(GUST, weather.__getitem__)
    blown = out_of(WIND, np.sqrt(weather["wind_m_s"]) + off, weather["wind_m_s"])
    assert (out_of(GUST, ratio + off, blown) >= blown).all()


def test_directions_are_compared_round_north() -> None:
    def at(from_deg: float) -> dict[str, np.ndarray]:
        return {"wind_from_deg": np.array([from_deg]), "wind_m_s": np.array([5.0])}

    off = error(DIRECTION, at(5.0).__getitem__, at(355.0).__getitem__)
    assert 0.0 < off[0] < 1.0
