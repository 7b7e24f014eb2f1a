"""Inside an hour: a forecast hour is a mean, while a limit is on ten-minute means and their gusts.

Patterns are of whole hours the station measured in bins of ten minutes, each bin as a share of its
hour; general experience stands in while there are few. A pattern keeps an hour's mean and highest
gust. M patterns of ``STEPS`` each.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np

from watcher.weather.series import Floats, Seconds

STEP_S = 600
STEPS = 6
HALVES = 2
_LEAST_WIND_M_S = 1.0
"""Shares of less are mostly the anemometer's threshold."""
_PRIOR_PATTERNS = 20
_OWN_FOR_ONE = 6
"""Hours for which one pattern of experience gives way: hours of a day are alike."""
_PRIOR_SPREAD_M_S, _LEAST_SHARE, _PRIOR_KEPT = 0.58, 0.09, 0.5
"""Ten-minute means stray about as far in any wind, and by a tenth of a strong one: a round figure
of the one-minute winds of five places."""
_PRIOR_GUST_SPREAD = 0.10
_CLASSES_M_S = np.array([2.0, 4.0, 7.0])
"""Light winds wander more: a pattern is of hours of about the same wind."""


@dataclass(frozen=True)
class Patterns:
    """Ten-minute means and highest gusts as shares of their hour's. [M, STEPS]; the gust's are NaN
    for an hour without. ``wind_m_s`` is the hour's wind. [M]"""

    wind: Floats
    gust: Floats
    wind_m_s: Floats

    @classmethod
    def of(cls, times: Seconds, wind_m_s: Floats, gust_m_s: Floats) -> Self:
        """Return the patterns of all whole hours in a station's ten-minute bins. [T]"""
        _, first = np.unique(times // (STEP_S * STEPS), return_index=True)
        whole = first[np.diff(np.append(first, times.size)) == STEPS]
        at = whole[:, None] + np.arange(STEPS)
        wind, gust = wind_m_s[at].reshape(-1, STEPS), gust_m_s[at].reshape(-1, STEPS)
        mean, highest = wind.mean(axis=1), gust.max(axis=1)
        known = mean >= _LEAST_WIND_M_S
        shares = gust[known] / highest[known, None]
        return cls(wind[known] / mean[known, None], shares, mean[known])

    def drawn(self, wind_m_s: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """Return a pattern's shares of wind and gust for every hour's wind. [..., STEPS] each"""
        hours = wind_m_s.ravel()
        wind, gust = _experience(hours, rng)
        wanted = np.searchsorted(_CLASSES_M_S, np.nan_to_num(hours))
        own_class = np.searchsorted(_CLASSES_M_S, self.wind_m_s)
        for one in range(_CLASSES_M_S.size + 1):
            at, own = np.flatnonzero(wanted == one), np.flatnonzero(own_class == one)
            by_own = rng.random(at.size) * (own.size + _PRIOR_PATTERNS * _OWN_FOR_ONE) < own.size
            at = at[by_own]
            picked = own[rng.integers(max(own.size, 1), size=at.size)]
            for out, ours in ((wind, self.wind), (gust, self.gust)):
                known = np.isfinite(ours[picked]).all(axis=1)
                out[at[known]] = ours[picked[known]]
        shape = (*wind_m_s.shape, STEPS)
        return wind.reshape(shape), gust.reshape(shape)


def _experience(wind_m_s: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return shares of wind and gust as general experience has them. [H] in, [H, STEPS] each"""
    off = rng.standard_normal((wind_m_s.size, STEPS))
    for step in range(1, STEPS):
        kept = _PRIOR_KEPT * off[:, step - 1]
        off[:, step] = kept + np.sqrt(1.0 - _PRIOR_KEPT**2) * off[:, step]
    strays = _PRIOR_SPREAD_M_S / np.maximum(np.nan_to_num(wind_m_s), _LEAST_WIND_M_S)
    wind = np.exp(np.maximum(strays, _LEAST_SHARE)[:, None] * off)
    wind /= wind.mean(axis=1, keepdims=True)
    gust = wind * np.exp(_PRIOR_GUST_SPREAD * rng.standard_normal(wind.shape))
    return wind, gust / gust.max(axis=1, keepdims=True)


def spread_out(
    wind_m_s: Floats, gust_m_s: Floats, patterns: Patterns, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return the winds and gusts of the two halves of hours. [N, H] in, [N, H * HALVES] out

    In one half blows the lowest ten-minute mean of the hour, in the other the highest with the
    highest gust, either first: only these can break a limit that the hour's others hold.
    """
    wind_share, gust_share = patterns.drawn(wind_m_s, rng)
    wind = np.stack([wind_share.min(axis=-1), wind_share.max(axis=-1)], axis=-1)
    calmest = wind_share.argmin(axis=-1)[..., None]
    gust_then = np.take_along_axis(gust_share, calmest, axis=-1)[..., 0]
    gust = np.stack([gust_then, gust_share.max(axis=-1)], axis=-1)
    turned = rng.random(wind_m_s.shape) < 0.5
    for share in (wind, gust):
        share[turned] = share[turned][:, ::-1]
    winds = wind_m_s[..., None] * wind
    gusts = np.maximum(winds, gust_m_s[..., None] * gust)
    return winds.reshape(len(winds), -1), gusts.reshape(len(gusts), -1)
