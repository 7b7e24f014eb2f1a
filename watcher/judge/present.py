"""The present judged with every reading, and the hours ahead read from what was judged of them.

The hours ahead are judged again where anything is other than it was that they are judged by: with a
new issue, a new hour, another farm, and where what a station measures moves them (the error of the
forecast, which is carried into them, rain, a leaf that is wet, the low of the night, the high of
the day). What looks along the time is worked out of the whole series each time, which costs next
to nothing, and compared; so nothing has to say what may have changed. All else of a time is judged
by its own weather.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from watcher.judge.farm_judgement import Look, together
from watcher.judge.judgement import Judgement, Later, judge, with_moment
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.hours import dry_spells
from watcher.limits.rule_limits import highs_rules_ask_for
from watcher.weather.inversion import Inversion, assess
from watcher.weather.series import ALL_TIMES


@dataclass(frozen=True)
class _Seen:
    """A look, and what of it the hours ahead are judged by."""

    look: Look
    inversion: Inversion
    given: tuple[NDArray[np.generic], ...]
    """What each time has of its own. [..., T] each"""
    along: tuple[NDArray[np.generic], ...]
    """What looks along the time. [T] each"""
    same_at_all_times: tuple[object, ...]

    @classmethod
    def of(cls, plan: FarmArrays, look: Look) -> "_Seen":
        series, expects = look.series, look.expects
        inversion = assess(series, expects=expects)
        spells = dry_spells(plan, series, expects=expects).values()
        bounds, expected = sorted(series.bounds.items()), sorted(expects.items())
        return cls(
            look,
            inversion,
            given=(
                series.times,
                np.stack(list(series.quantities().values())),
                *(side for _, both in bounds for side in both),
                *(where for _, where in expected),
            ),
            along=(
                inversion.finding,
                inversion.obukhov_m,
                *(a for spell in spells for a in (spell.wet, spell.wet_to, spell.unknown_to)),
                *highs_rules_ask_for(plan, series),
            ),
            same_at_all_times=(
                repr(series.site),  # by its text: a height that is not known is NaN
                look.fields,
                look.wind_uncertainty_m_s,
                [name for name, _ in bounds],
                [name for name, _ in expected],
                len(series),
            ),
        )

    def judged(self, plan: FarmArrays, at: slice) -> Judgement:
        """Judge a farm by the look at some of its times."""
        return judge(
            plan,
            self.look.series,
            wind_uncertainty_m_s=self.look.wind_uncertainty_m_s,
            expects=self.look.expects,
            inversion=self.inversion,
            at=at,
        )

    def same(self, other: "_Seen", at: slice) -> bool:
        """Whether all times but those ``at`` are judged by the same."""
        before, after = slice(0, at.start), slice(at.stop, None)
        return (
            self.same_at_all_times == other.same_at_all_times
            and _alike(self.given, other.given, before)
            and _alike(self.given, other.given, after)
            and _alike(self.along, other.along, after)
        )


def _alike(
    one: Sequence[NDArray[np.generic]], two: Sequence[NDArray[np.generic]], part: slice
) -> bool:
    """Whether two have the same values in a part of their times; missing ones are the same."""
    return all(
        np.array_equal(a[..., part], b[..., part], equal_nan=a.dtype.kind == "f")
        for a, b in zip(one, two, strict=True)
    )


@dataclass
class Present:
    """Judges a farm moment after moment, as one running watch does."""

    judged_ahead: int = 0
    """How often the hours ahead were judged."""
    _ahead: "_Ahead | None" = None

    def judge(self, plan: FarmArrays, looks: Sequence[Look], now: int) -> Judgement:
        """Judge every field by its own look at the weather; ``now`` is the index of the present.

        The hour under way is judged with it: what is measured of it changes with each reading.
        """
        at = slice(max(now - 1, 0), now + 1)
        seen = tuple(_Seen.of(plan, look) for look in looks)
        last = at.stop >= len(looks[0].series)
        if last or self._ahead is None or not self._ahead.stands(plan, seen, at):
            self._ahead = _Ahead.of(plan, seen, at)
            self.judged_ahead += 1
            return self._ahead.whole
        return self._ahead.with_moment(seen, at)


@dataclass(frozen=True)
class _Ahead:
    """A farm as all its times were judged at once, by each look and together."""

    plan: FarmArrays
    seen: tuple[_Seen, ...]
    each: tuple[Judgement, ...]
    whole: Judgement
    later: tuple[Later, ...]
    """What comes after the present, of each look and last of all together."""

    @classmethod
    def of(cls, plan: FarmArrays, seen: tuple[_Seen, ...], at: slice) -> "_Ahead":
        each = tuple(one.judged(plan, ALL_TIMES) for one in seen)
        whole = together(plan, [one.look for one in seen], each)
        later = tuple(judgement.after(at.stop) for judgement in (*each, whole))
        return cls(plan, seen, each, whole, later)

    def stands(self, plan: FarmArrays, seen: tuple[_Seen, ...], at: slice) -> bool:
        """Whether the hours ahead would be judged as they were."""
        return (
            plan is self.plan
            and len(seen) == len(self.seen)
            and all(a.same(b, at) for a, b in zip(seen, self.seen, strict=True))
        )

    def with_moment(self, seen: tuple[_Seen, ...], at: slice) -> Judgement:
        """Return the judgement with the present judged anew."""
        moments = [one.judged(self.plan, at) for one in seen]
        together_now = together(self.plan, [one.look for one in seen], moments)
        *each, whole = (
            with_moment(before, replace(moment, later=later), at, one.look.series, one.inversion)
            for before, moment, later, one in zip(
                (*self.each, self.whole),
                (*moments, together_now),
                self.later,
                (*seen, seen[0]),
                strict=True,
            )
        )
        places = {id(judgement): place for place, judgement in enumerate(self.each)}
        apart = {field: each[places[id(own)]] for field, own in self.whole.apart.items()}
        return replace(whole, apart=apart)
