"""Spray drift beside a field: the published curves, scaled and turned downwind.

A ranking index on top of the curves of ``watcher.weather.drift_curves``, not a prediction: the
deposit grows with the share of driftable drops, wind, boom height and speed as far as sources say
so. Absolute deposits may be off by a factor of 2 to 10 m from the field, of 3 further away.

Two factors, because they depend on different things: ``exposure`` (where the neighbour lies and
whence the wind comes) times ``strength`` (how hard this setup drifts in this wind).
"""

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from watcher.weather.drift_curves import (
    MEAN_CURVE,
    SEEN_FROM_M,
    SEEN_TO_M,
    UPPER_CURVE,
    DriftCurve,
    deposit_at,
    strip_mean,
)
from watcher.weather.series import Floats
from watcher.weather.spray_quality import SprayDrift

Bools = NDArray[np.bool_]
Tables = NDArray[np.float64] | NDArray[np.float32]

_BEARINGS = 360


@dataclass(frozen=True)
class Strength:
    """How hard a setup drifts in a wind against the conditions of the curves (1).

    ``expected`` stays within what the sources support: outside it holds the value at the range's
    end. ``upper`` goes on growing. ``extrapolated`` is true where the two may differ for that.
    """

    expected: Floats
    upper: Floats
    extrapolated: Bools


# Wind: linear; index of ours on the curves' 5 m/s. Deposits proportional to wind: from memory.
REFERENCE_WIND_HEIGHT_M = 3.0
_WIND_M_S = (0.5, 5.0)
_LEAST_WINDY = _WIND_M_S[0] / _WIND_M_S[1]
# Boom: US Tier I curves of ground booms 20 and 50 inches high (heights from memory) differ by 1.7
# to 2.0 for medium to coarse sprays, an exponent of 0.7, and by 3 to 6 for fine ones, 1.2. The
# upper estimate goes with the square above 0.5 m (about double at 0.7 m: de Jong et al. 2000, from
# memory) and credits a lower boom with no more than coarse sprays gain.
_BOOM_M = (0.3, 1.27)
_BOOM_REFERENCE_M = 0.5
_BOOM_EXPONENT, _BOOM_EXPONENT_FINER, _BOOM_EXPONENT_UPPER = 0.7, 1.2, 2.0
# Forward speed: about double at 30 km/h against 8 km/h in 20 km/h of wind, no effect in 8 km/h of
# wind (GRDC 2012, driftable amount). Slower than 8 km/h: no figure, no credit.
_SPEED_M_S = (8 / 3.6, 30 / 3.6)
_SPEED_WIND_M_S = (8 / 3.6, 20 / 3.6)


def strength(
    *,
    wind_m_s: ArrayLike,
    boom_height_m: ArrayLike,
    speed_m_s: ArrayLike,
    spray: SprayDrift,
) -> Strength:
    """Return how hard a setup drifts: an index on the curves, 1 in their conditions.

    Any shapes that broadcast; NaN in gives NaN. ``wind_m_s`` is about 3 m above ground
    (``REFERENCE_WIND_HEIGHT_M``), ``boom_height_m`` nozzle above canopy, ``speed_m_s`` the
    sprayer's. Supported: wind 0.5 to 5 m/s, boom 0.3 to 1.27 m, speed to 30 km/h.
    """
    wind, boom, speed = _floats(wind_m_s, boom_height_m, speed_m_s)
    exponent = np.where(spray.finer, _BOOM_EXPONENT_FINER, _BOOM_EXPONENT)
    expected = (
        np.clip(wind / _WIND_M_S[1], _LEAST_WINDY, 1.0)
        * (np.clip(boom, *_BOOM_M) / _BOOM_REFERENCE_M) ** exponent
        * _speed_factor(np.minimum(speed, _SPEED_M_S[1]), wind)
    )
    beyond = (
        (wind < _WIND_M_S[0])
        | (wind > _WIND_M_S[1])
        | (boom < _BOOM_M[0])
        | (boom > _BOOM_M[1])
        | (speed > _SPEED_M_S[1])
    )
    upper = _upper_strength(wind, boom, speed) * spray.upper
    return Strength(expected * spray.expected, upper, np.broadcast_to(beyond, upper.shape))


def upper_strength(
    *,
    wind_m_s: ArrayLike,
    boom_height_m: ArrayLike,
    speed_m_s: ArrayLike,
    spray: SprayDrift,
) -> Floats:
    """Return only ``upper`` of ``strength``."""
    return _upper_strength(*_floats(wind_m_s, boom_height_m, speed_m_s)) * spray.upper


def _floats(wind: ArrayLike, boom: ArrayLike, speed: ArrayLike) -> tuple[Floats, Floats, Floats]:
    return tuple(np.asarray(x, dtype=np.float64) for x in (wind, boom, speed))  # type: ignore[return-value]


def _upper_strength(wind: Floats, boom: Floats, speed: Floats) -> Floats:
    high = np.maximum(boom, _BOOM_M[0]) / _BOOM_REFERENCE_M
    height = high ** np.where(high > 1.0, _BOOM_EXPONENT_UPPER, _BOOM_EXPONENT)
    windy = np.maximum(wind / _WIND_M_S[1], _LEAST_WINDY)
    return np.asarray(windy * height * _speed_factor(speed, wind))


def _speed_factor(speed: Floats, wind: Floats) -> Floats:
    slow, fast = _SPEED_M_S
    calm, breezy = _SPEED_WIND_M_S
    felt = np.clip((wind - calm) / (breezy - calm), 0.0, 1.0)
    return np.asarray(1.0 + np.maximum(speed - slow, 0.0) / (fast - slow) * felt)


TREATED_WIDTH_M = 20.0
"""Upwind extent of field the curves stand for: the least that ISO 22866 asks of a trial (value
from memory)."""
_DOWN_BY_M = 300.0


@dataclass(frozen=True)
class Bearings:
    """Deposits at a neighbour if the wind blew steadily along each whole-degree bearing. [..., 360]

    As of ``Deposit``, at strength 1.
    """

    edge_pct: Floats
    strip_pct: Floats
    upper_pct: Floats
    extrapolated: Bools


def bearings(*, gap_m: Floats, width_m: Floats, strip_m: float = 5.0) -> Bearings:
    """Lay the curves along every bearing from a field to a neighbour.

    ``gap_m`` [..., 360] is the distance from the field to the neighbour's nearest edge travelling
    along each bearing, infinite where it is not hit; ``width_m`` [..., 360] the field's extent
    along it. ``strip_m`` is how much of the neighbour the strip mean covers.

    A metre of sprayed width at a distance ``y`` adds in proportion to ``-d(a y^b)/dy``, so that
    the metres of a field add up to the curve. The curve stands for a field at least as wide as the
    trials', so wider fields get it in full and narrower ones the share their swaths make of such
    a field. Leaving the outer swaths out is a larger gap and a smaller width.
    """
    gap, width = np.broadcast_arrays(gap_m, width_m)
    hit = ~np.isinf(gap)
    near, extent = gap[hit], width[hit]

    def laid(values: Floats) -> Floats:
        table = np.zeros(gap.shape)
        table[hit] = values
        return table

    mean_share = _treated_share(near, extent, MEAN_CURVE)
    strip = strip_mean(near_m=near, far_m=near + strip_m, curve=MEAN_CURVE)
    return Bearings(
        edge_pct=laid(deposit_at(distance_m=near, curve=MEAN_CURVE) * mean_share),
        strip_pct=laid(strip * mean_share),
        upper_pct=upper_bearings(gap_m=gap, width_m=width),
        extrapolated=hit & ((gap < SEEN_FROM_M) | (gap > SEEN_TO_M)),
    )


def upper_bearings(*, gap_m: Floats, width_m: Floats) -> Floats:
    """Lay only the upper estimate along every bearing, as ``bearings`` does. [..., 360], %"""
    gap, width = np.broadcast_arrays(gap_m, width_m)
    hit = ~np.isinf(gap)
    near, extent = gap[hit], width[hit]
    upper = np.zeros(gap.shape)
    share = _treated_share(near, extent, UPPER_CURVE)
    upper[hit] = deposit_at(distance_m=near, curve=UPPER_CURVE) * share
    return upper


def _treated_share(gap: Floats, width: Floats, curve: DriftCurve) -> Floats:
    """Share of the published curve that a field of this width makes at this gap."""
    near = np.maximum(gap, curve.full_deposit_m)

    def made_by(extent: Floats | float) -> Floats:  # 1 - (deposit beyond the far edge / at near)
        return np.asarray(-np.expm1(curve.b * np.log1p(extent / near)))

    return made_by(np.minimum(width, TREATED_WIDTH_M)) / made_by(TREATED_WIDTH_M)


# The direction's distribution: odd number of nodes over ±3 standard deviations, dense enough to
# hit every whole degree up to a standard deviation of 40 degrees.
_NODES = np.linspace(-3.0, 3.0, 241)
_NODE_WEIGHTS = np.exp(-0.5 * _NODES**2) / np.exp(-0.5 * _NODES**2).sum()
# How far it swings at least inside the ten minutes while its mean is looked for within a standard
# deviation: from a nearly steady wind to 10 degrees, whichever brings more (a choice of ours).
_INNER_SPREADS_DEG = (5.0, 10.0)


def direction_weights(*, wind_from_deg: ArrayLike, spread_deg: ArrayLike) -> Floats:
    """Return the share of the time the wind blows along each whole-degree bearing. [..., 360]

    Normal around the direction opposite ``wind_from_deg`` with standard deviation ``spread_deg``,
    cut at three of them and wrapped round the circle. NaN where either is missing.
    """
    toward, spread = np.broadcast_arrays(
        np.asarray(wind_from_deg, dtype=np.float64) + 180.0,
        np.asarray(spread_deg, dtype=np.float64),
    )
    known = np.isfinite(toward) & np.isfinite(spread)
    at = toward[known][:, None] + spread[known][:, None] * _NODES
    whole = np.floor(at)
    # Added up over as many turns of the circle as there are, and these over each other: quicker
    # than to bring every node into the circle.
    first_turn = math.floor(whole.min(initial=0.0) / _BEARINGS)
    turns = math.floor(whole.max(initial=0.0) / _BEARINGS) - first_turn + 1
    row = turns * np.arange(at.shape[0])[:, None] - first_turn
    cells = (whole + _BEARINGS * row).astype(np.intp).ravel()

    def added_up(shares: Floats) -> Floats:
        shape = (at.shape[0], turns, _BEARINGS)
        summed = np.bincount(cells, shares.ravel(), minlength=math.prod(shape))
        over_each_other: Floats = summed.reshape(shape).sum(axis=1)
        return over_each_other

    # A node between two bearings counts for both, for the nearer one more.
    for_next = (at - whole) * _NODE_WEIGHTS
    weights = np.full((*toward.shape, _BEARINGS), np.nan)
    weights[known] = added_up(_NODE_WEIGHTS - for_next) + np.roll(added_up(for_next), 1, axis=-1)
    return weights


@dataclass(frozen=True)
class Directions:
    """Winds' mean directions and their standard deviations, broadcast to one shape. [...], deg"""

    wind_from_deg: Floats
    spread_deg: Floats

    @classmethod
    def of(cls, *, wind_from_deg: ArrayLike, spread_deg: ArrayLike) -> Self:
        """Return those of some winds."""
        given = (np.asarray(a, dtype=np.float64) for a in (wind_from_deg, spread_deg))
        return cls(*np.broadcast_arrays(*given))

    @property
    def shape(self) -> tuple[int, ...]:
        """Of the winds."""
        return self.wind_from_deg.shape

    def weights(self) -> Floats:
        """Return the share of the time along each whole-degree bearing. [..., 360]"""
        return direction_weights(wind_from_deg=self.wind_from_deg, spread_deg=self.spread_deg)

    def at(self, index: int | slice) -> Self:
        """Return those of some of the winds."""
        return type(self)(np.asarray(self.wind_from_deg[index]), np.asarray(self.spread_deg[index]))


@dataclass(frozen=True)
class Deposit:
    """Deposit at a neighbour in percent of the field's rate.

    ``edge_pct`` at its nearest edge, expected over the wind's directions; ``strip_pct`` the mean
    over its first metres; ``upper_pct`` at the edge by the 90th percentile curve with the mean
    direction anywhere within a standard deviation; ``extrapolated`` where a distance, a wind or
    a setup lies outside what the curves and their scaling were seen for.
    """

    edge_pct: Floats
    strip_pct: Floats
    upper_pct: Floats
    extrapolated: Bools

    def scaled(self, by: Strength) -> "Deposit":
        """Return the deposit with a setup's strength in a wind; shapes broadcast."""
        return Deposit(
            np.minimum(self.edge_pct * by.expected, 100.0),
            np.minimum(self.strip_pct * by.expected, 100.0),
            np.minimum(self.upper_pct * by.upper, 100.0),
            self.extrapolated | by.extrapolated,
        )


def exposure(*, along: Bearings, directions: Directions) -> Deposit:
    """Return the deposit at strength 1, averaged over the wind's directions.

    ``along`` of shape [*pairs, 360], directions of [*times, 360]: the result is [*pairs, *times].
    NaN where a direction or its spread is missing, or a gap is.
    """
    weights = directions.weights()
    return Deposit(
        edge_pct=_over_bearings(along.edge_pct, weights),
        strip_pct=_over_bearings(along.strip_pct, weights),
        upper_pct=upper_exposure(swung_pct=swung(along.upper_pct), directions=directions),
        extrapolated=_over_bearings(along.extrapolated.astype(np.float64), weights) > 0,
    )


def swung(upper_pct: Tables) -> Tables:
    """Return the upper estimate along each bearing for a wind that swings a little about it.

    From ``upper_bearings`` [..., 360], in its own precision.
    """
    bearing = np.arange(_BEARINGS)
    away = (bearing - bearing[:, None]) % _BEARINGS
    inner = direction_weights(wind_from_deg=180.0, spread_deg=np.array(_INNER_SPREADS_DEG))
    nearly_steady, swinging = (
        upper_pct @ weights[away].T for weights in inner.astype(upper_pct.dtype)
    )
    most: Tables = np.maximum(nearly_steady, swinging)
    return most


def upper_exposure(*, swung_pct: Tables, directions: Directions) -> Floats:
    """Return only the upper estimate of ``exposure``, from ``swung``. [*pairs, *times]

    The most along any bearing within a standard deviation of the mean, rounded outward to whole
    degrees: a wider swing never lowers it.
    """
    towards, spread = directions.wind_from_deg.ravel() + 180.0, directions.spread_deg.ravel()
    known = np.flatnonzero(np.isfinite(towards) & np.isfinite(spread))
    first = np.floor(towards[known] - spread[known]).astype(np.intp)
    last = np.ceil(towards[known] + spread[known]).astype(np.intp)
    last = np.minimum(last, first + _BEARINGS - 1)
    doublings = np.floor(np.log2(last - first + 1)).astype(np.intp)
    upper = np.full((*swung_pct.shape[:-1], towards.size), np.nan)
    reach, table = 1, swung_pct  # the most along each bearing and so many less one after it
    for doubling in range(int(doublings.max(initial=-1)) + 1):
        asked = doublings == doubling
        begin, end = first[asked] % _BEARINGS, (last[asked] - reach + 1) % _BEARINGS
        upper[..., known[asked]] = np.maximum(table[..., begin], table[..., end])
        table, reach = np.maximum(table, np.roll(table, -reach, axis=-1)), 2 * reach
    return upper.reshape((*swung_pct.shape[:-1], *directions.shape))


def _over_bearings(table: Tables, weights: Floats) -> Floats:
    # In the table's precision: of a large farm single precision is plenty and half the memory.
    return np.asarray(np.tensordot(table, weights.astype(table.dtype), axes=(-1, -1)))


def deposit_pct(
    *,
    gap_m: Floats,
    width_m: Floats,
    wind_m_s: ArrayLike,
    wind_from_deg: ArrayLike,
    spread_deg: ArrayLike,
    boom_height_m: ArrayLike,
    speed_m_s: ArrayLike,
    spray: SprayDrift,
) -> Deposit:
    """Return the deposit at each neighbour for each weather and setup.

    ``gap_m`` and ``width_m`` are [*pairs, 360] as in ``bearings``; everything else broadcasts to
    one shape [*cases], directions to [*times] and the rest as in ``strength``. The result
    is [*pairs, *cases]. Where pairs differ in wind, combine ``exposure`` and ``strength`` oneself.
    """
    force = strength(
        wind_m_s=wind_m_s,
        boom_height_m=boom_height_m,
        speed_m_s=speed_m_s,
        spray=spray,
    )
    directions = Directions.of(wind_from_deg=wind_from_deg, spread_deg=spread_deg)
    times = directions.shape
    along = bearings(gap_m=gap_m, width_m=width_m)
    at_reference = exposure(along=along, directions=directions)
    pairs = np.shape(along.edge_pct)[:-1]
    missing = max(force.expected.ndim - len(times), 0)
    shape = (*pairs, *(1,) * missing, *times)
    return Deposit(
        at_reference.edge_pct.reshape(shape),
        at_reference.strip_pct.reshape(shape),
        at_reference.upper_pct.reshape(shape),
        at_reference.extrapolated.reshape(shape),
    ).scaled(force)


def airborne_share(*, distance_m: ArrayLike, strength: ArrayLike) -> Floats:
    """Return the share of a field's outer 20 m of spray still to come down beyond a distance.

    0 to 1, shapes broadcast: what the expected deposit at ``strength`` puts down from there to
    300 m straight downwind, so that it tells of the same drops as the deposit.
    """
    near = np.minimum(distance_m, _DOWN_BY_M)
    curve, width = MEAN_CURVE, _DOWN_BY_M - near
    # A strip of no width has no mean.
    mean = strip_mean(near_m=near, far_m=near + np.maximum(width, 1e-9), curve=curve)
    share = mean * width / 100.0 / TREATED_WIDTH_M * np.asarray(strength)
    return np.asarray(np.minimum(share, 1.0))
