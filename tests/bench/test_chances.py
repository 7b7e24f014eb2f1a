"""How good chances are, out of sample and in order of issue, and what they cost."""

import time
import tracemalloc
from dataclasses import dataclass, field
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest

from tests.support.archived_forecasts import Archive, denmark, gust_rows, hill_city, needs_archive
from tests.support.known_errors import KnownErrors
from tests.support.large_farm import changeable_weather, large_farm
from watcher.forecasts import error_model, scores
from watcher.forecasts.history import AHEAD, HOUR_S, PATH_H
from watcher.forecasts.scenarios import scenarios
from watcher.forecasts.spaces import WIND
from watcher.judge.chances import chances
from watcher.limits.farm_arrays import FarmArrays
from watcher.weather import sun
from watcher.weather.series import Floats, WeatherSeries

MPH = 0.44704
LOW_M_S, HIGH_M_S = 3 * MPH, 10 * MPH
COUNT = 100
QUANTILES = np.array([NormalDist().inv_cdf((i + 0.5) / COUNT) for i in range(COUNT)])


def _holds(wind: Floats) -> np.ndarray:
    return np.asarray(((wind >= LOW_M_S) & (wind <= HIGH_M_S)).all(axis=-1))


def _chance(held: np.ndarray) -> float:
    return float((held.sum() + 0.5) / (held.size + 1.0))


@dataclass
class _Cases:
    """Jobs of some length with the chance said, the forecast as truth, and what came."""

    said_at: list[int]
    starts_at: list[int]
    chance: list[float]
    truth: list[float]
    came: list[bool]

    @classmethod
    def of(cls, archive: Archive, hours: int) -> "_Cases":
        found = cls([], [], [], [], [])
        for now in archive.moments():
            history = archive.history(now)
            wind = scenarios(history, COUNT, np.random.default_rng(now)).values["wind_m_s"]
            first, second = history.foretold["wind_m_s"][:, -1]
            foretold = np.where(np.isnan(first), second, first)
            for lead in range(7, 25):
                found._add(archive, now, lead, hours, wind, foretold)
        return found

    def _add(
        self, archive: Archive, now: int, lead: int, hours: int, wind: Floats, foretold: Floats
    ) -> None:
        at = slice(int(np.flatnonzero(lead == PATH_H)[0]), None)
        start = now + HOUR_S * lead
        measured = archive.measured["wind_m_s"]
        came = np.array([measured.get(start + HOUR_S * h, np.nan) for h in range(hours)])
        wind, foretold = wind[:, at][:, :hours], foretold[at][:hours]
        known = np.isfinite(came).all() and np.isfinite(wind).all() and np.isfinite(foretold).all()
        place = {"latitude": 39.4, "longitude": archive.longitude}
        if not known or sun.elevation(times=np.array([start]), **place)[0] < 0:
            return
        self.said_at.append(now)
        self.starts_at.append(start)
        self.chance.append(_chance(_holds(wind)))
        self.truth.append(float(_holds(foretold)))
        self.came.append(bool(_holds(came)))

    def usual(self, archive: Archive, hours: int) -> Floats:
        """How often such jobs held at the hour of the day before the chance was said."""
        measured = archive.measured["wind_m_s"]
        times = np.array(sorted(measured))
        every = np.array(
            [[measured.get(int(t) + HOUR_S * h, np.nan) for h in range(hours)] for t in times]
        )
        times, every = times[np.isfinite(every).all(axis=1)], every[np.isfinite(every).all(axis=1)]
        held = _holds(every)
        shares = []
        for said, start in zip(self.said_at, self.starts_at, strict=True):
            alike = (times % 86_400 == start % 86_400) & (times + HOUR_S * (hours - 1) <= said)
            shares.append((held[alike].sum() + 1.0) / (alike.sum() + 2.0))
        return np.array(shares)


@needs_archive
@pytest.mark.bench
@pytest.mark.parametrize(("hours", "bar"), [(1, 0.20), (3, 0.12)])
def test_chances_at_a_farmland_station_tell_more_than_the_hour_and_the_forecast(
    hours: int, bar: float, capsys: pytest.CaptureFixture[str]
) -> None:
    archive = hill_city()
    cases = _Cases.of(archive, hours)
    chance, truth, came = (np.array(a) for a in (cases.chance, cases.truth, cases.came))
    usual = cases.usual(archive, hours)
    days = np.array(cases.starts_at) // 86_400
    skill = scores.brier_skill(chance, usual, came)
    against = scores.by_days(lambda at: scores.brier_skill(chance[at], truth[at], came[at]), days)
    with capsys.disabled():
        print(
            f"\n{hours} h jobs, {came.size} cases on {np.unique(days).size} days: skill against "
            f"the hour of the day {skill:+.3f} (bar {bar:+.2f}), against the forecast "
            f"{against.value:+.3f} ({against.low:+.3f} to {against.high:+.3f}); said "
            f"{chance.mean():.3f}, held {came.mean():.3f}; of jobs foretold open "
            f"{came[truth > 0].mean():.2f} held"
        )
    assert came.size > 500
    assert skill >= bar
    assert against.low > 0
    assert abs(chance.mean() - came.mean()) <= 0.08


@needs_archive
@pytest.mark.bench
def test_gusts_are_better_than_the_raw_members(capsys: pytest.CaptureFixture[str]) -> None:
    past, tested = gust_rows("train"), gust_rows("test")
    raw = np.concatenate([scores.crps(members, gusts) for gusts, members in tested.values()]).mean()
    found = {}
    for rows in (0, 5, 90):
        off = [
            scores.crps(_gusts(past[place], rows, members), gusts)
            for place, (gusts, members) in tested.items()
        ]
        found[rows] = float(np.concatenate(off).mean())
    with capsys.disabled():
        print(f"\nCRPS of gusts, m/s: raw {raw:.3f}; by own rows {found}")
    assert all(crps < raw for crps in found.values())
    assert found[90] < found[5] < found[0]


def _gusts(past: tuple[Floats, Floats], rows: int, members: Floats) -> Floats:
    """Members by the error model of a station's last rows, one a day."""
    gusts, foretold = (part[len(part) - min(rows, len(part)) :] for part in past)
    shape = (max(len(gusts), 1), PATH_H.size)
    lead = int(np.flatnonzero(PATH_H == 12)[0])
    roots, off = np.full(shape, np.nan), np.full(shape, np.nan)
    roots[: len(gusts), lead] = np.sqrt(foretold.mean(axis=1))
    off[: len(gusts), lead] = np.sqrt(gusts) - roots[: len(gusts), lead]
    age = np.repeat(np.arange(shape[0])[::-1, None] * 1.0, PATH_H.size, axis=1)
    noon = np.zeros(shape)
    offset = error_model.fit_offset(WIND, roots, off, noon, age)
    spread = error_model.fit_spread(WIND, off - offset.at(roots, noon), age)[lead]
    now = np.sqrt(members.mean(axis=1))
    expected = now + offset.at(now, np.zeros(now.shape))
    return np.asarray(np.maximum(expected[:, None] + spread * QUANTILES, 0.0) ** 2)


@needs_archive
@pytest.mark.bench
def test_the_spread_of_ensemble_members_gains_next_to_nothing(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Gusts again: a spread that follows the members', against one that is always the same.

    Both fitted on the other stations' rows, each station's offset on its own: under 2 % of the
    CRPS, so the program reads no members. More would be a reason to read them.
    """
    past, tested = (_whole(gust_rows(part)) for part in ("train", "test"))
    same: list[Floats] = []
    following: list[Floats] = []
    for place, (gusts, members) in tested.items():
        others = [_off(*rows) for other, rows in past.items() if other != place]
        off, spread = (np.concatenate(parts) for parts in zip(*others, strict=True))
        terms = np.stack([np.ones_like(spread), spread**2], axis=-1)
        variance = np.maximum(np.linalg.lstsq(terms, off**2, rcond=None)[0], 0.0)
        expected = _line(*past[place], members)
        of_members = np.sqrt(variance[0] + variance[1] * np.sqrt(members).std(axis=1) ** 2)
        for found, sigma in ((same, np.full(len(gusts), off.std())), (following, of_members)):
            drawn = np.maximum(expected[:, None] + sigma[:, None] * QUANTILES, 0.0) ** 2
            found.append(scores.crps(drawn, gusts))
    alike, by_members = (float(np.concatenate(found).mean()) for found in (same, following))
    with capsys.disabled():
        print(f"\nCRPS of gusts, m/s: one spread {alike:.3f}, the members' {by_members:.3f}")
    assert by_members > 0.98 * alike


def _whole(rows: dict[int, tuple[Floats, Floats]]) -> dict[int, tuple[Floats, Floats]]:
    """Rows with every member known; the noise that was added leaves a few gusts below zero."""
    found = {}
    for place, (gusts, members) in rows.items():
        known = np.isfinite(gusts) & np.isfinite(members).all(axis=1)
        found[place] = np.maximum(gusts[known], 0.0), np.maximum(members[known], 0.0)
    return found


def _line(gusts: Floats, members: Floats, at: Floats) -> Floats:
    """What is expected of other members, as roots, by a line through a station's rows."""
    roots, others = np.sqrt(members.mean(axis=1)), np.sqrt(at.mean(axis=1))
    slope, start = np.polyfit(roots, np.sqrt(gusts), 1)
    return np.asarray(start + slope * others)


def _off(gusts: Floats, members: Floats) -> tuple[Floats, Floats]:
    """What a line leaves of a station's gusts, as roots, and how far the members are apart."""
    return np.sqrt(gusts) - _line(gusts, members, members), np.sqrt(members).std(axis=1)


@needs_archive
@pytest.mark.bench
def test_the_next_hours_by_hourly_issues(capsys: pytest.CaptureFixture[str]) -> None:
    archive = denmark()
    measured = archive.measured["temp_c"]
    known = np.array([t for t in measured.values() if np.isfinite(t)])
    low, high = np.quantile(known, [0.25, 0.75])
    next_hours = (PATH_H >= 1) & (PATH_H <= 3)
    squares = []
    for now in archive.moments()[40::6]:
        came = np.array([measured.get(now + HOUR_S * h, np.nan) for h in (1, 2, 3)])
        temp = scenarios(archive.history(now), COUNT, np.random.default_rng(now)).values["temp_c"]
        if np.isfinite(came).all() and np.isfinite(temp[:, next_hours]).all():
            held = ((temp[:, next_hours] >= low) & (temp[:, next_hours] <= high)).all(axis=1)
            squares.append((_chance(held) - float(((came >= low) & (came <= high)).all())) ** 2)
    with capsys.disabled():
        print(f"\nthree hours 1 to 3 h ahead: Brier {np.mean(squares):.3f} of {len(squares)} jobs")
    assert len(squares) > 60
    assert np.mean(squares) <= 0.13


@pytest.mark.bench
def test_a_year_of_a_known_law_is_recovered(capsys: pytest.CaptureFixture[str]) -> None:
    known = KnownErrors(365)
    inside: dict[float, list[float]] = {0.5: [], 0.9: []}
    for row in range(120, len(known.at), 9):
        wind = scenarios(known.history(row), COUNT, np.random.default_rng(row)).values["wind_m_s"]
        came = known.measured_root[row, AHEAD] ** 2
        for share, found in inside.items():
            edges = np.quantile(wind[:, AHEAD], [0.5 - share / 2, 0.5 + share / 2], axis=0)
            found.append(float(((came >= edges[0]) & (came <= edges[1])).mean()))
    shares = {share: float(np.mean(values)) for share, values in inside.items()}
    with capsys.disabled():
        print(f"\na known law, a year: of what came within 50 and 90 % bounds lay {shares}")
    for share, covered in shares.items():
        assert covered == pytest.approx(share, abs=0.03)


@dataclass(frozen=True)
class _Look:
    series: WeatherSeries
    fields: tuple[str, ...] = ()
    wind_uncertainty_m_s: float = 0.3
    expects: dict[str, Any] = field(default_factory=dict)


@pytest.mark.bench
@pytest.mark.parametrize("starts_h", [48, 72])
def test_a_hundred_scenarios_of_three_days_and_ten_fields(
    starts_h: int, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = FarmArrays.of(large_farm(10, 5))
    look = _Look(changeable_weather(36 + 73))
    now = int(look.series.times[36])
    times = now + 1800 * np.arange(1, 2 * 72)
    at = np.searchsorted(look.series.times, times, side="right") - 1
    rng = np.random.default_rng(0)
    shape = (COUNT, times.size)
    values = {
        name: getattr(look.series, name)[at] + rng.random(shape)
        for name in ("wind_m_s", "wind_from_deg", "temp_c")
    }
    values["gust_m_s"] = 1.5 * values["wind_m_s"]
    values["dew_point_c"] = values["temp_c"] - 5.0
    values["rain_mm_h"] = np.broadcast_to(look.series.rain_mm_h[at], shape)
    starts = now + 1800 * np.arange(2 * starts_h)

    def work() -> None:
        chances(
            plan,
            look,
            36,
            times=times,
            values=values,
            starts=starts,
            past_forecasts=np.zeros(starts.size, np.int64),
        )

    work()  # lays out what the plan works out once
    took = []
    for _ in range(5):
        began = time.process_time()
        work()
        took.append(time.process_time() - began)
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    with capsys.disabled():
        print(
            f"\n100 scenarios x 73 h x 10 fields, a start every half hour of {starts_h} h: "
            f"{min(took):.2f} s of processor, {peak:.0f} MiB"
        )
    assert peak <= 60
    assert min(took) < 10  # about 0.6 on two quiet cores; a loaded machine fails nothing
