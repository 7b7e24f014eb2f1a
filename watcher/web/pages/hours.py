"""The hours ahead: every field in every hour of two days, with what decides and the air above."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import TypeVar

import numpy as np
from fastapi import APIRouter, Depends, Request, Response

from watcher.farm.geometry.bearings import compass_point
from watcher.i18n.message import NOTHING, Message, Name, Number, WallTime, Weekday, say
from watcher.judge.chances import FarmChances, FieldChance
from watcher.judge.hour_grid import NOTHING as NO_LIMIT
from watcher.judge.hour_grid import HourRow, hour_row
from watcher.judge.ranking import FieldNow
from watcher.judge.reasons import reasons
from watcher.limits.air import wet_bulb_depression
from watcher.limits.catalogue import CATALOGUE
from watcher.limits.status import Status
from watcher.messages.chances import basis, digit, tenths
from watcher.messages.vocabulary import FINDING_WORDS, POINTS
from watcher.messages.weather import ahead_line
from watcher.units import Kind, amount
from watcher.weather.inversion import Finding
from watcher.weather.series import Floats
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.open_jobs import OpenJobViewModel, by_field, open_jobs
from watcher.web.pages.field_choice import FEW, FieldQuery, asked, grouped, paged, searched
from watcher.web.pages.view_models import StatusMark

T = TypeVar("T")
UNKNOWN = "?"


@dataclass(frozen=True)
class Hour:
    """The head of a column."""

    at: int
    word: Message | str
    day: Message
    """The day, in its first column; else nothing."""


@dataclass(frozen=True)
class Run:
    """Some hours in a row of which the same is said."""

    hours: int
    word: Message | str
    unknown: bool = False


@dataclass(frozen=True)
class AirRow:
    """What the air is hour by hour."""

    name: Message
    cells: Sequence[Run]


@dataclass(frozen=True)
class Cell:
    """A field in an hour: its status, and how likely a whole job begun then holds."""

    mark: StatusMark | OpenJobViewModel
    """What a job begun then is; now, of a field where one is open, what to do with that."""
    odds: Message | None
    """None where no chance is to be shown: of what is unsuitable or unknown then."""
    digit: str
    rows: int
    """Tenths, for the height of its ground."""


@dataclass(frozen=True)
class GridRow:
    """A field in all hours."""

    field: str
    title: Message
    cells: Sequence[Cell]
    decides: Sequence[Run]


@dataclass(frozen=True)
class HourLine:
    """A field in one hour, in words."""

    field: str
    title: Message
    cell: Cell
    why: Message


def router(context: AppContext) -> APIRouter:
    """Route of the hours."""
    routes = APIRouter(include_in_schema=False)
    looker, given = Depends(context.auth.looker), Depends(asked)

    @routes.get("/hours")
    def hours(
        request: Request,
        at: int | None = None,
        what: FieldQuery = given,
        visitor: Visitor = looker,
    ) -> Response:
        every = list(context.snapshot.ranking.every.values())
        found = searched(context, every, what.q)
        if what.of is not None:
            groups = grouped(context, found, what.by)
            found = [seen for g in groups if g.key == what.of for seen in g.fields]
        shown = paged(found, what.page)
        with context.watch.transactions.store.reading() as session:
            jobs = by_field(open_jobs(context, session))
        return context.show(
            request,
            visitor,
            "hours.html",
            asked=what,
            many=len(every) > FEW,
            count=len(found),
            shown=shown,
            grid=_Grid(context, shown.fields, jobs, at) if shown.fields else None,
            ahead=ahead_line(context.snapshot.timeline),
        )

    return routes


class _Grid:
    """The fields of one page hour by hour."""

    def __init__(
        self,
        context: AppContext,
        fields: Sequence[FieldNow],
        jobs: Mapping[str, OpenJobViewModel],
        at: int | None,
    ) -> None:
        self._context, self._fields, self._jobs = context, fields, jobs
        snapshot = context.snapshot
        self._judgement = snapshot.judgement
        self._now = snapshot.timeline.now
        times = self._judgement.series.times
        first = snapshot.timeline.now_index
        last = int(np.searchsorted(times, self._now + context.farm.config.judging.horizon))
        self._times = slice(first, last)
        self._at = times[self._times]
        self._chances: FarmChances = context.chances
        self._plan = self._judgement.plan
        self._rows = {
            seen.field: hour_row(self._judgement, self._plan.fields.index(seen.field), self._times)
            for seen in fields
        }
        chosen = int(np.searchsorted(self._at, at)) if at is not None else 0
        self.chosen = int(self._at[min(chosen, self._at.size - 1)])
        self._chosen = int(np.searchsorted(self._at, self.chosen))

    @property
    def hours(self) -> list[Hour]:
        zone, found, before = self._context.farm.zone, [], ""
        for n, at in enumerate(self._at.tolist()):
            local = datetime.fromtimestamp(at, zone)
            day = f"{local:%Y-%m-%d}"
            new, before = day != before, day
            word = say("now") if n == 0 else f"{local:%H}"
            found.append(Hour(at, word, Weekday(at, zone) if new else NOTHING))
        return found

    @property
    def choices(self) -> list[tuple[int, Message]]:
        """Every hour with its clock, to choose one."""
        zone = self._context.farm.zone
        return [(at, WallTime(at, self._now, zone)) for at in self._at.tolist()]

    @property
    def air_of(self) -> tuple[Message, Message]:
        """Of which field and setup the wind at the boom is."""
        first = self._fields[0]
        return Name(first.field), Name(str(first.setup))

    @property
    def air(self) -> list[AirRow]:
        """The air over the first field, hour by hour."""
        first, system = self._fields[0], self._context.speaker.system
        field = self._plan.fields.index(first.field)
        setup = self._plan.setups.index(str(first.setup))
        judgement = self._judgement.of_field(field)
        series = judgement.series.at(self._times)
        boom = judgement.boom
        rain_from = self._context.farm.config.judging.rain_counts_from

        def numbers(values: Floats, kind: Kind, places: int = 0) -> list[Run]:
            def shown(value: float) -> Message:
                return Number(f"{amount(value, kind, system):.{places}f}")

            return _known(values, shown)

        def points(bearing: float) -> Message:
            return POINTS[compass_point(bearing)]

        def rain(rate: float) -> Message:
            if rate < rain_from:
                return Number("0")
            return Number(f"{amount(rate, Kind.RAIN_RATE, system):.{2 if system == 'us' else 1}f}")

        found = judgement.inversion.finding[self._times].tolist()
        speed = Kind.SPEED.unit(system)
        step = wet_bulb_depression(series)
        return [
            AirRow(say("wind from"), _known(series.wind_from_deg, points)),
            AirRow(
                say("wind, {unit}", unit=speed),
                numbers(boom.wind_m_s[field, setup, self._times], Kind.SPEED),
            ),
            AirRow(
                say("gust, {unit}", unit=speed),
                numbers(boom.gust_m_s[field, setup, self._times], Kind.SPEED),
            ),
            AirRow(
                say("Delta T, {unit}", unit=Kind.TEMPERATURE_STEP.unit(system)),
                numbers(np.asarray(step).reshape(-1), Kind.TEMPERATURE_STEP),
            ),
            AirRow(
                say("air, {unit}", unit=Kind.TEMPERATURE.unit(system)),
                numbers(series.temp_c, Kind.TEMPERATURE),
            ),
            AirRow(
                say("rain, {unit}", unit=Kind.RAIN_RATE.unit(system)),
                _known(series.rain_mm_h, rain),
            ),
            AirRow(
                say("inversion"),
                [
                    Run(n, FINDING_WORDS[Finding(one)], one == Finding.UNKNOWN)
                    for one, n in _runs(found)
                ],
            ),
        ]

    @property
    def rows(self) -> Iterator[GridRow]:
        for seen in self._fields:
            row = self._rows[seen.field]
            limits = [
                (int(status), int(limit))
                for status, limit in zip(row.status, row.limit, strict=True)
            ]
            yield GridRow(
                seen.field,
                Name(seen.field),
                [self._cell(seen, row, n) for n in range(self._at.size)],
                [
                    Run(n, _word(row, limit), status == Status.UNKNOWN)
                    for (status, limit), n in _runs(limits)
                ],
            )

    def _cell(self, seen: FieldNow, row: HourRow, n: int) -> Cell:
        if n == 0 and seen.field in self._jobs:
            return Cell(self._jobs[seen.field], None, "", 0)
        status = Status(int(row.status[n]))
        if status < Status.MARGINAL:
            return Cell(StatusMark(status), None, "", 0)
        chance = self._chance(seen, row, n)
        odds = None if chance is None else chance.chance
        rows = 0 if odds is None else min(9, max(1, round(10 * odds)))
        return Cell(StatusMark(status), tenths(odds), digit(odds), rows)

    def _chance(self, seen: FieldNow, row: HourRow, n: int) -> FieldChance | None:
        setup, status = self._plan.setups[row.setup[n]], Status(int(row.status[n]))
        if n == 0:
            return self._chances.now(seen.field, setup, self._now, status)
        return self._chances.at_hour(seen.field, setup, int(self._at[n]), status)

    @property
    def basis(self) -> Message | None:
        """What the chances of the page rest on; None where there are none."""
        known = [
            chance.past_forecasts
            for seen in self._fields
            for chance in self._chances.of(seen.field, str(seen.setup))
            if chance.starts_at <= self._at[-1]
        ]
        return basis(min(known)) if known else None

    @property
    def lines(self) -> Iterator[HourLine]:
        """Every field of the page in the hour that was chosen."""
        for seen in self._fields:
            row, n = self._rows[seen.field], self._chosen
            field = self._plan.fields.index(seen.field)
            why: Message = say("not known so far ahead")
            if row.limit[n] != NO_LIMIT:
                found = reasons(self._judgement, field, int(row.setup[n]), int(row.at[n]))
                limit = row.limits[row.limit[n]]
                reason = next(r for r in found if r.limit is limit)
                why = self._context.speaker.reason(seen.field, reason)
                if row.at[n] > self._times.start + n:
                    later = int(self._judgement.series.times[row.at[n]])
                    clock = WallTime(later, self._now, self._context.farm.zone)
                    why = say("from {clock}: {reason}", clock=clock, reason=why)
            yield HourLine(seen.field, Name(seen.field), self._cell(seen, row, n), why)


def _runs(values: Sequence[T]) -> Iterator[tuple[T, int]]:
    """Yield equal values in a row as one with how many there are."""
    for value, same in groupby(values):
        yield value, len(list(same))


def _known(values: Floats, shown: Callable[[float], Message]) -> list[Run]:
    """Return hour by hour what is known; what is not says so."""
    return [
        Run(1, shown(float(value))) if np.isfinite(value) else Run(1, UNKNOWN, unknown=True)
        for value in values
    ]


def _word(row: HourRow, limit: int) -> Message:
    if limit == NO_LIMIT:
        return say("not known so far ahead")
    entry = CATALOGUE[row.limits[limit]]
    return entry.short or entry.words
