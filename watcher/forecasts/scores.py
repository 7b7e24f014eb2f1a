"""How good chances were: Brier score and skill, reliability, with bars by whole days.

Chances of one day hang together, so every bar is of days drawn anew with all that is in them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from watcher.weather.series import Floats

Bools = NDArray[np.bool_]
_DRAWS = 1000
_WITHIN = 0.90
FEWEST_DAYS = 15
"""Of fewer days nothing is shown: they are too alike to tell."""


def brier(chance: Floats, came: Bools) -> float:
    """Return the mean squared difference of chance and outcome; 0 is best. NaN for none."""
    return float(np.mean((chance - came) ** 2)) if chance.size else float("nan")


def brier_skill(chance: Floats, reference: Floats, came: Bools) -> float:
    """Return the share of the reference's Brier score that is saved; NaN where it has none."""
    against = brier(reference, came)
    return 1.0 - brier(chance, came) / against if against > 0 else float("nan")


def crps(ensemble: Floats, measured: Floats) -> Floats:
    """Return the continuous ranked probability score of each ensemble [..., N] of [...]."""
    members = np.sort(ensemble, axis=-1)
    count = members.shape[-1]
    far = np.abs(members - measured[..., None]).mean(axis=-1)
    ranks = 2.0 * np.arange(1, count + 1) - count - 1
    return np.asarray(far - (members * ranks).sum(axis=-1) / count**2)


@dataclass(frozen=True)
class Bar:
    """A figure with the bounds within which nine of ten draws of days lie."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Bin:
    """Chances said alike: their mean, how often it held, and how many there were."""

    said: float
    held: Bar
    count: int


@dataclass(frozen=True)
class Skill:
    """How good the chances were that were said from a time on. ``None`` where too little is known.

    Skills are shares of the Brier score saved, against what usually held at that hour of the day,
    known by then, and against the forecast taken as truth.
    """

    days: int
    count: int
    said: float = float("nan")
    held: float = float("nan")
    bins: tuple[Bin, ...] = ()
    against_usual: Bar | None = None
    against_forecast: Bar | None = None

    @property
    def enough(self) -> bool:
        """Whether there are days enough to show anything."""
        return self.days >= FEWEST_DAYS


def by_days(
    figure: Callable[[NDArray[np.intp]], float], days: NDArray[np.int64], *, draws: int = _DRAWS
) -> Bar:
    """Return a figure of the cases at some indices with its bar over draws of whole days.

    ``days`` is the day of every case. Draws are the same for the same days.
    """
    rng = np.random.default_rng(days.size)
    of_day = [np.flatnonzero(days == day) for day in np.unique(days)]
    drawn = [
        figure(np.concatenate([of_day[d] for d in rng.integers(len(of_day), size=len(of_day))]))
        for _ in range(draws if of_day else 0)
    ]
    known = np.array([value for value in drawn if np.isfinite(value)])
    if not known.size:
        return Bar(float("nan"), float("nan"), float("nan"))
    edge = (1.0 - _WITHIN) / 2.0
    low, high = np.quantile(known, [edge, 1.0 - edge])
    return Bar(figure(np.arange(days.size)), float(low), float(high))


def reliability(
    chance: Floats, came: Bools, days: NDArray[np.int64], *, bins: int = 10, draws: int = _DRAWS
) -> list[Bin]:
    """Return how often what was said with each chance held, in equal bins; empty ones left out."""
    number = np.minimum((chance * bins).astype(np.intp), bins - 1)
    found = []
    for one in np.unique(number):
        own = number == one
        held, of_days = came[own], days[own]
        bar = by_days(partial(_share, held), of_days, draws=draws)
        found.append(Bin(float(chance[own].mean()), bar, int(own.sum())))
    return found


def _share(held: Bools, at: NDArray[np.intp]) -> float:
    return float(held[at].mean())


def past_share(came: Bools, hour: NDArray[np.int64], known_at: Floats, said_at: Floats) -> Floats:
    """Return, for each case, how often cases of the same hour of the day held before it was said.

    The climatology that anybody could have kept: with one held and one broken case to begin with.
    ``known_at`` is when a case's outcome was known, ``said_at`` when its chance was said.
    """
    shares = np.empty(came.shape)
    for one in np.unique(hour):
        own = np.flatnonzero(hour == one)
        order = own[np.argsort(known_at[own], kind="stable")]
        held = np.concatenate([[0], np.cumsum(came[order])])
        before = np.searchsorted(known_at[order], said_at[own], side="right")
        shares[own] = (held[before] + 1.0) / (before + 2.0)
    return shares
