"""Wind over moving windows, as the WMO defines it, from a station's raw samples.

At every time of a series the window of ``width_s`` that ends there: 120 or 600 s for the mean wind.
``step_s`` is the time between samples; regular or not, a window with less than ``least_share`` of
the samples due in it is NaN (so is the first one, until it has filled). Times are epoch seconds
[T], rising; values [T]. Source: WMO-No. 8, Part I, chapter 5 (gust duration 3 s from memory).
"""

import numpy as np

from watcher.weather.series import Floats, Seconds
from watcher.weather.trailing import highs, known_share, means
from watcher.weather.wind import CALM_M_S, LEAST_SHARE, direction_of, spread_of_mean_vector

MEAN_S = 600
GUST_S = 3


def moving_mean(
    *,
    times: Seconds,
    values: Floats,
    step_s: int,
    width_s: int = MEAN_S,
    least_share: float = LEAST_SHARE,
) -> Floats:
    """Return the mean over the window that ends at each time. [T]"""
    share = known_share(times=times, values=values, width_s=width_s, step_s=step_s)
    mean = means(times=times, values=values, width_s=width_s)[:, 0]
    return np.where(share >= least_share, mean, np.nan)


def moving_high(
    *,
    times: Seconds,
    values: Floats,
    step_s: int,
    width_s: int = MEAN_S,
    least_share: float = LEAST_SHARE,
) -> Floats:
    """Return the highest value in the window, such as the gust of reported gusts. [T]"""
    share = known_share(times=times, values=values, width_s=width_s, step_s=step_s)
    high = highs(times=times, values=values, width_s=width_s)[:, 0]
    return np.where(share >= least_share, high, np.nan)


def moving_gust(
    *,
    times: Seconds,
    wind_m_s: Floats,
    step_s: int,
    width_s: int = MEAN_S,
    least_share: float = LEAST_SHARE,
) -> Floats:
    """Return the highest running 3 s mean in the window, m/s. [T]

    Samples further apart than 3 s are means over more than a gust: from them there is none, NaN.
    """
    if step_s > GUST_S:
        return np.full(times.shape, np.nan)
    running = moving_mean(
        times=times, values=wind_m_s, step_s=step_s, width_s=GUST_S, least_share=least_share
    )
    return moving_high(
        times=times, values=running, step_s=step_s, width_s=width_s, least_share=least_share
    )


def moving_direction(
    *,
    times: Seconds,
    from_deg: Floats,
    wind_m_s: Floats,
    step_s: int,
    width_s: int = MEAN_S,
    least_share: float = LEAST_SHARE,
) -> tuple[Floats, Floats]:
    """Return the mean direction and its deviation (Yamartino 1984) in the window, degrees. [T]

    Of unit vectors; a calm sample has no direction, and a window that is mostly calm none either.
    """
    angle = np.where(wind_m_s >= CALM_M_S, np.radians(from_deg), np.nan)
    sine, cosine = (
        moving_mean(
            times=times,
            values=component,
            step_s=step_s,
            width_s=width_s,
            least_share=least_share,
        )
        for component in (np.sin(angle), np.cos(angle))
    )
    return direction_of(sine, cosine), spread_of_mean_vector(sine, cosine)
