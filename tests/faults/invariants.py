"""What must hold of every experiment, whatever broke: one checker for all of them.

A ``History`` is what was so, worked out from the script alone: the readings given, who sprayed
when, which faults were in force; and what each recipient got, and when. ``check`` works out from
that, second by second and knowing nothing of the program, what was due, and says in words
what is wrong:

* nothing due is lost: whoever sprays past a bound is told to stop;
* nothing stale is told as new, and nothing good while a bound is crossed or nobody can see;
* blindness is said aloud within a minute;
* nobody is told the same more often than senders died or could not know that they were heard.

Times are seconds of the laboratory, which never jump.
"""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import Enum

WITHIN_S = 60.0
"""Within so long, undisturbed, everything due must have arrived."""
_GRAIN_S = 1.0
"""What was so is worked out by whole seconds."""
_FRESH_S = 120.0
"""A message older than this must say so."""
_WINDOW_S = 600
"""A gust counts for so long, and the mean wind is taken over it."""
_DOWN_AGAIN_S = 600.0
"""A watch that keeps crashing says so once in this time."""


class Meaning(Enum):
    """What a message says to whoever sprays."""

    STOP = "stop"
    BLIND = "blind"
    CLEAR = "all clear"
    OTHER = "other"


_SAYS = (
    (re.compile(r"Stop [^:]*: cannot see"), Meaning.BLIND),
    (re.compile(r"Stop (?!by )"), Meaning.STOP),
    (
        re.compile(
            r"(Check .*: cannot see|Cannot see|Check: the watch cannot write its log|Watch blind"
            r"|Watch was down|Watch stops|Watch has a fault|The (watch|machine)'s clock|Not watched"
            r"|Nobody watched)"
        ),
        Meaning.BLIND,
    ),
    (re.compile(r"All clear"), Meaning.CLEAR),
)
_REF = re.compile(r"[\[(]([A-Z2-7]{5})[\])]")
_LATE = re.compile(r"This alert is .* late|^.* LATE, true [^.]*\. ")


@dataclass(frozen=True)
class Reading:
    """What a station that tells the truth measured at the boom, and the watch was given."""

    at: float
    wind_mph: float
    gust_mph: float


@dataclass(frozen=True)
class Span:
    """From ``begin`` until ``end``, which is not in it."""

    begin: float
    end: float

    def holds(self, at: float) -> bool:
        return self.begin <= at < self.end

    def touches(self, second: float) -> bool:
        """Whether any of the second that begins then is in it."""
        return self.begin < second + 1 and second < self.end


@dataclass(frozen=True)
class Fault:
    """What was broken: ``log``, ``phone``, ``watch`` (down) or ``clock``, and from when to when.

    For ``settles_s`` after it the program may still be on its way back: a phone that failed for
    long is tried again after a while.
    """

    what: str
    span: Span
    settles_s: float = 0.0

    def disturbs(self, at: float) -> bool:
        return Span(self.span.begin, self.span.end + self.settles_s).touches(at)


@dataclass(frozen=True)
class Arrival:
    """A message that a recipient got."""

    at: float
    recipient: str
    title: str
    body: str

    @property
    def text(self) -> str:
        """What it begins with, without how late it is."""
        return self.title or _LATE.sub("", self.body)

    @property
    def means(self) -> Meaning:
        return next((m for said, m in _SAYS if said.match(self.text)), Meaning.OTHER)

    @property
    def says_it_is_late(self) -> bool:
        return _LATE.search(self.body) is not None

    @property
    def ref(self) -> str | None:
        found = _REF.search(self.body)
        return found[1] if found else None


@dataclass(frozen=True)
class Look:
    """What the watch showed at a moment."""

    at: float
    suitable: frozenset[str]
    ahead: bool = False
    """Whether it called any hour ahead suitable."""


@dataclass
class History:
    """What happened in one experiment."""

    recipients: Sequence[str]
    wind_bound_mph: float
    gust_bound_mph: float
    silent_after_s: float
    readings: list[Reading] = field(default_factory=list)
    sprayed: list[Span] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    kills: int = 0
    unheard: int = 0
    """Messages that were taken by a receiver whose answer was lost: their sender must repeat."""
    arrivals: list[Arrival] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)
    ahead_known: bool = True
    """Whether anybody who tells the truth spoke of the hours ahead."""
    ends: float = 0.0


@dataclass(frozen=True)
class Verdict:
    """What was found, in words, and what there was of it."""

    violations: tuple[str, ...]
    due: int
    lost: int
    repeated: int
    blind_s: float
    """The longest that blindness waited to be said. [s]"""


class Weather(Enum):
    """How it stands with the bounds."""

    INSIDE = "inside"
    CROSSED = "crossed"
    UNSEEN = "unseen"


@dataclass(frozen=True)
class _Run:
    """Seconds on end in which something was so."""

    begin: int
    end: int


class _Truth:
    """What was so, second by second."""

    def __init__(self, history: History) -> None:
        self.history = history
        self.weather = [self._weather(second) for second in range(int(history.ends) + 1)]

    def _weather(self, at: int) -> Weather:
        found = self.history
        until_now = [r for r in found.readings if r.at < at + 1]
        if not until_now or at - until_now[-1].at > found.silent_after_s:
            return Weather.UNSEEN
        last = [r for r in until_now if r.at > until_now[-1].at - _WINDOW_S]
        mean = sum(r.wind_mph for r in last) / len(last)
        if mean > found.wind_bound_mph or max(r.gust_mph for r in last) > found.gust_bound_mph:
            return Weather.CROSSED
        return Weather.INSIDE

    def at(self, second: float) -> Weather:
        return self.weather[min(max(int(second), 0), len(self.weather) - 1)]

    def was(self, weather: Weather, since: float, until: float) -> bool:
        return any(self.at(s) is weather for s in range(int(since), int(until) + 1))

    def sprayed(self, at: float) -> bool:
        return any(span.touches(at) for span in self.history.sprayed)

    def broken(self, at: float, *what: str, settled: bool = True) -> bool:
        return any(
            (f.disturbs(at) if settled else f.span.touches(at))
            for f in self.history.faults
            if not what or f.what in what
        )

    def seen_until(self, begin: int) -> int:
        """Since when nobody could see for a minute on end: what interrupts it is no news."""
        since, seen = begin, 0
        for second in range(begin - 1, -1, -1):
            if self.at(second) is Weather.UNSEEN or self.broken(
                second, "log", "clock", settled=False
            ):
                since, seen = second, 0
            else:
                seen += 1
            if seen >= WITHIN_S:
                break
        return since

    def runs(self, so: Sequence[bool]) -> Iterator[_Run]:
        begin = None
        for second, holds in enumerate([*so, False]):
            if holds and begin is None:
                begin = second
            elif not holds and begin is not None:
                yield _Run(begin, second)
                begin = None

    def deadline(self, begin: int, end: int, *disturbing: str) -> int | None:
        """When ``WITHIN_S`` undisturbed seconds on end have passed; None: not before ``end``."""
        calm = 0
        for second in range(begin, end):
            calm = 0 if self.broken(second, *disturbing) else calm + 1
            if calm > WITHIN_S:
                return second
        return None


def check(history: History) -> Verdict:
    """Return everything that is wrong with a history, and what there was of it."""
    truth = _Truth(history)
    found: list[str] = []
    due = lost = 0
    for who in history.recipients:
        got = [a for a in history.arrivals if a.recipient == who]
        for run, deadline in _due_stops(truth):
            due += 1
            if not _came(got, {Meaning.STOP}, run.begin, deadline):
                lost += 1
                found.append(
                    f"lost: a bound was crossed from {run.begin} s; by {deadline} s {who} had "
                    f"not been told to stop (got {_listed(got)})"
                )
    blind_s = 0.0
    for who in history.recipients:
        got = [a for a in history.arrivals if a.recipient == who]
        for begin, deadline, why in _due_blindness(truth):
            said = _first(got, {Meaning.BLIND, Meaning.STOP}, begin)
            if why != "clock":
                said = _first(
                    got, {Meaning.BLIND}, min(truth.seen_until(begin), begin - _again(why))
                )
            if said is None or said > deadline:
                found.append(
                    f"silent: blind ({why}) from {begin} s; by {deadline} s {who} had not been "
                    f"told (got {_listed(got)})"
                )
            else:
                blind_s = max(blind_s, said - begin, 0.0)
    found += _stale(truth)
    found += _too_good(truth)
    repeated, twice = _repeats(truth)
    return Verdict((*found, *twice), due, lost, repeated, blind_s)


def _due_stops(truth: _Truth) -> Iterator[tuple[_Run, int]]:
    """Runs in which a bound is crossed while somebody sprays, and by when that must be told.

    What is told stays told while nobody can see, so such a run ends only when all is well again.
    A log that cannot be used is no excuse: a running job is judged on without it.
    """
    bad = [
        w is not Weather.INSIDE and truth.sprayed(second) for second, w in enumerate(truth.weather)
    ]
    for run in truth.runs(bad):
        crossed = [s for s in range(run.begin, run.end) if truth.at(s) is Weather.CROSSED]
        for first in truth.runs([s in set(crossed) for s in range(run.end)]):
            deadline = truth.deadline(first.begin, first.end, "phone", "watch", "clock")
            if deadline is not None:
                yield _Run(run.begin, run.end), deadline
                break


def _due_blindness(truth: _Truth) -> Iterator[tuple[int, int, str]]:
    """When somebody sprays unseen: from when, by when that must be told, and why it is so."""
    seconds = range(len(truth.weather))
    kinds = {
        "station": [
            truth.at(s) is Weather.UNSEEN and not truth.broken(s, "log", "watch", "clock")
            for s in seconds
        ],
        "log": [truth.broken(s, "log", settled=False) for s in seconds],
        "clock": [
            truth.broken(s, "clock", settled=False) and truth.at(s) is not Weather.INSIDE
            for s in seconds
        ],
    }
    for why, so in kinds.items():
        for run in truth.runs([so[s] and truth.sprayed(s) for s in seconds]):
            deadline = truth.deadline(run.begin, run.end, "phone", "watch")
            if deadline is not None:
                yield run.begin, deadline, why
    for fault in truth.history.faults:
        up = int(fault.span.end)
        if fault.what == "watch" and truth.sprayed(up) and truth.sprayed(fault.span.begin):
            deadline = truth.deadline(up, len(truth.weather), "phone", "watch", "log")
            if deadline is not None:
                yield int(fault.span.begin), deadline, "watch down"


def _again(why: str) -> float:
    return _DOWN_AGAIN_S if why == "watch down" else 0.0


def _listed(got: Sequence[Arrival]) -> str:
    return "; ".join(f"{a.at:.0f} s {a.text[:40]!r}" for a in got) or "nothing"


def _came(got: Sequence[Arrival], meaning: set[Meaning], since: float, until: float) -> bool:
    return any(a.means in meaning and since - _GRAIN_S <= a.at <= until for a in got)


def _first(got: Sequence[Arrival], meaning: set[Meaning], since: float) -> float | None:
    found = (a.at for a in got if a.means in meaning and a.at >= since - _GRAIN_S)
    return min(found, default=None)


def _stale(truth: _Truth) -> Iterator[str]:
    """What is said that is no longer so, or never was."""
    for a in truth.history.arrivals:
        since = a.at - _FRESH_S
        if a.means is Meaning.STOP and not a.says_it_is_late:
            if not truth.was(Weather.CROSSED, since, a.at):
                yield f"stale: {a.recipient} was told {a.text!r} at {a.at:.0f} s; it was not so"
        elif a.means is Meaning.BLIND and not a.says_it_is_late:
            seconds = range(int(since), int(a.at) + 1)
            if not any(truth.at(s) is Weather.UNSEEN or truth.broken(s) for s in seconds):
                yield f"untrue: {a.recipient} was told {a.text!r} at {a.at:.0f} s; all was seen"


def _too_good(truth: _Truth) -> Iterator[str]:
    """What is said or shown to be well while it is not, or while nobody can know."""
    for a in truth.history.arrivals:
        if a.means is Meaning.CLEAR and all(
            truth.at(s) is Weather.CROSSED for s in range(int(a.at - WITHIN_S), int(a.at) + 1)
        ):
            yield f"untrue: {a.recipient} was told {a.text!r} at {a.at:.0f} s; a bound was crossed"
    for look in truth.history.looks:
        if look.ahead and not truth.history.ahead_known:
            yield f"untrue: hours ahead shown as suitable at {look.at:.0f} s; nobody knows them"
        seconds = range(int(look.at - WITHIN_S), int(look.at) + 1)
        open_nowhere = all(truth.at(s) is not Weather.INSIDE for s in seconds)
        if look.suitable and open_nowhere and not truth.broken(look.at):
            fields = ", ".join(sorted(look.suitable))
            yield f"untrue: {fields} shown as suitable at {look.at:.0f} s"


def _repeats(truth: _Truth) -> tuple[int, list[str]]:
    """How often somebody was told again what they had been told, and where that is too often."""
    history = truth.history
    jumps = 2 * sum(f.what == "clock" for f in history.faults)
    allowed = history.kills + history.unheard + jumps
    total, found = 0, []
    for who in history.recipients:
        got = [a for a in history.arrivals if a.recipient == who]
        same = Counter(a.ref for a in got if a.ref is not None)
        again = sum(n - 1 for n in same.values())
        stops = Counter(
            (run.begin, a.text)
            for run, _ in _due_stops(truth)
            for a in {a.ref: a for a in got}.values()
            if a.means is Meaning.STOP and run.begin <= a.at < run.end
        )
        again += sum(n - 1 for n in stops.values())
        total += again
        if again > allowed:
            found.append(f"repeated: {who} was told the same {again} times more; at most {allowed}")
    return total, found
