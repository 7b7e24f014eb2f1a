"""The judgement of a whole farm, where different stations speak for different fields."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from watcher.judge.judgement import Judgement, judge
from watcher.limits.boom_wind import BoomWind
from watcher.limits.catalogue import Limit
from watcher.limits.check import Checked, mixed
from watcher.limits.farm_arrays import Bools, FarmArrays
from watcher.limits.status import LimitState
from watcher.weather.series import WeatherSeries

N = TypeVar("N", bound=np.generic)


class Look(Protocol):
    """Weather as some fields have it."""

    @property
    def fields(self) -> tuple[str, ...]: ...

    @property
    def series(self) -> WeatherSeries: ...

    @property
    def wind_uncertainty_m_s(self) -> float: ...

    @property
    def expects(self) -> Mapping[str, Bools]: ...


@dataclass(frozen=True)
class PlainLook:
    """A series as the weather some fields have; nothing is expected of it unless said."""

    fields: tuple[str, ...]
    series: WeatherSeries
    wind_uncertainty_m_s: float
    expects: Mapping[str, Bools] = field(default_factory=dict)


def judge_look(plan: FarmArrays, look: Look) -> Judgement:
    """Judge every field by one look at the weather."""
    return judge(
        plan,
        look.series,
        wind_uncertainty_m_s=look.wind_uncertainty_m_s,
        expects=look.expects,
    )


def judge_each(plan: FarmArrays, looks: Sequence[Look]) -> Judgement:
    """Judge every field by its own look at the weather; all of them are of the same times.

    The first look is the farm's: what is asked of no field in particular is its.
    """
    return together(plan, looks, [judge_look(plan, look) for look in looks])


def together(plan: FarmArrays, looks: Sequence[Look], each: Sequence[Judgement]) -> Judgement:
    """Return one judgement of those by each look, with the rows of its fields from each."""
    whole, *others = each
    if not others:
        return whole
    of_field = np.zeros(len(plan.fields), dtype=np.intp)
    for number, look in enumerate(looks):
        of_field[[plan.fields.index(field) for field in look.fields]] = number
    return _joined(whole, others, of_field)


def with_own(whole: Judgement, field: int, own: Judgement) -> Judgement:
    """Return a judgement with one field's rows taken from a judgement of its own.

    ``own`` is of the same fields, setups and times.
    """
    of_field = np.zeros(len(whole.plan.fields), dtype=np.intp)
    of_field[field] = 1
    joined = _joined(whole, [own], of_field)
    return replace(joined, apart={**whole.apart, field: own})


def _aligned(every: Sequence[Judgement]) -> Iterator[tuple[Checked, ...]]:
    """The same limit of every judgement; one that has nothing to say of it lets everything be."""
    limits = dict.fromkeys(c.limit for judgement in every for c in judgement.found)
    checks = [{c.limit: c for c in judgement.found} for judgement in every]
    for limit in limits:
        yield tuple(found.get(limit) or _silent(limit) for found in checks)


def _silent(limit: Limit) -> Checked:
    infinite = np.asarray(np.inf)
    holds = np.asarray(LimitState.HOLDS, dtype=np.int8)
    return Checked(limit, np.asarray(np.nan), -infinite, infinite, infinite, holds)


def _joined(whole: Judgement, others: Sequence[Judgement], of_field: NDArray[np.intp]) -> Judgement:
    """Take each field's rows from the judgement that is its own."""
    every = (whole, *others)

    def rows(*arrays: NDArray[N]) -> NDArray[N]:
        return _rows([_rowed(whole.plan.of_fields(array)) for array in arrays], of_field)

    found = tuple(mixed(same, rows) for same in _aligned(every))
    return replace(
        whole,
        wind=BoomWind(
            rows(*(j.wind.wind_m_s for j in every)),
            rows(*(j.wind.gust_m_s for j in every)),
            rows(*(j.wind.band for j in every)),
            rows(*(j.wind.doubt_m_s for j in every)),
        ),
        found=found,
        instant=rows(*(j.instant for j in every)),
        closes=rows(*(j.closes[:, None, :] for j in every))[:, 0, :],
        begin=rows(*(j.begin for j in every)),
        fresh=None,  # its times are put together here, and nowhere else
        apart={f: every[n] for f, n in enumerate(of_field.tolist()) if n},
    )


def _rowed(array: NDArray[N]) -> NDArray[N]:
    """Return an array with all three axes of field, setup and time."""
    return array.reshape((1,) * (3 - array.ndim) + array.shape)


def _rows(arrays: Sequence[NDArray[N]], of_field: NDArray[np.intp]) -> NDArray[N]:
    shape = np.broadcast_shapes((of_field.size, 1, 1), *(array.shape for array in arrays))
    out = np.broadcast_to(arrays[0], shape).copy()
    for number, array in enumerate(arrays[1:], start=1):
        own = of_field == number
        out[own] = np.broadcast_to(array, shape)[own]
    return out
