"""What rules ask of a record, what a record lacks, and the days by which and until which.

The rule's own text decides, and states and countries add to it; how well each is known here is said
with it. 40 CFR 171.303(b)(7) was read, and so was 7 CFR 110.3(a) before it was removed on 11 July
2025 (90 FR 20083): its items and days are a habit, no duty. The states' rules, the European annex,
the label terms and how long records are kept are known from others' summaries; the rest is from
memory. All as of ``READ_ON``.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import cast
from zoneinfo import ZoneInfo

from watcher.farm.products import RecordRule
from watcher.i18n.message import say
from watcher.records.facts import Known, Missing
from watcher.records.form import FORM, label, moment, numbered
from watcher.records.record import Record

READ_ON = date(2026, 11, 28)
"""The day the rules, or what is written of them, were last read."""
OTHERS_ADD = say("States and countries add to these rules; ask yours. The rule's own text decides.")


@dataclass(frozen=True)
class Need:
    """One thing a rule asks for, and the key of the form it can be typed in under."""

    key: str
    measured: str = ""
    """What it is called, where the log may have it instead."""
    lacks: Callable[[Record], bool] = lambda _: True
    """Whether the log lacks what is measured."""
    when: Callable[[Record], bool] = lambda _: True
    """Whether it is asked of this record."""
    known: Known = "from its text"


def _stage_bound(record: Record) -> bool:
    return any(
        record.value(numbered("stage_bound", n)) == "yes"
        for n in range(1, record.counted(FORM["product"]) + 1)
    )


def _weather(mark: str, *, temperature: bool, known: Known) -> Need:
    def lacks(record: Record) -> bool:
        moments = record.kept.moments if record.kept else ()
        return not any(
            m.mark == mark
            and None not in (m.boom_wind_m_s, m.wind_from_deg)
            and not (temperature and m.temp_c is None)
            for m in moments
        )

    what = "wind, its direction and temperature" if temperature else "wind and its direction"
    return Need(f"reading_{mark}", measured=f"{what} at the {mark}", lacks=lacks, known=known)


def _needs(keys: str, known: Known = "from its text") -> tuple[Need, ...]:
    return tuple(Need(key, known=known) for key in keys.split())


_FEDERAL = _needs("product registration total area crop location started applicator certificate")
_STATE = "product registration area location applicator certificate client client_address"
_NEEDS: dict[RecordRule, tuple[Need, ...]] = {
    "former 7 CFR 110": _FEDERAL,
    "40 CFR 171": (*_FEDERAL, *_needs("client client_address")),
    "US Minnesota": (
        *_needs(f"{_STATE} rate ended", "from a summary"),
        _weather("start", temperature=True, known="from a summary"),
    ),
    "US Idaho": (
        *_needs(f"{_STATE} crop started", "from a summary"),
        _weather("start", temperature=False, known="from a summary"),
    ),
    "72 h label": (
        *_needs("started ended nozzle pressure buffer sensitive_check", "from memory"),
        _weather("start", temperature=True, known="from memory"),
        _weather("end", temperature=True, known="from memory"),
    ),
    "EU 2023/564": (
        *_needs("product registration eppo area", "from a summary"),
        Need("bbch", when=_stage_bound, known="from a summary"),
        *_needs("rate started use", "from memory"),
    ),
}


def missing(record: Record, rules: Sequence[str]) -> list[Missing]:
    """Return what the rules ask for and the record does not have; each thing once."""
    found: dict[str, Missing] = {}
    for rule in rules:
        for need in _NEEDS[_now(rule)]:
            for lack in _lack(record, rule, need):
                found.setdefault(lack.what, lack)
    return list(found.values())


def _now(rule: str) -> RecordRule:
    """Return what a rule is called now; closed records keep the name it had."""
    return "former 7 CFR 110" if rule == "7 CFR 110" else cast(RecordRule, rule)


def _lack(record: Record, rule: str, need: Need) -> Iterator[Missing]:
    if not (need.when(record) and need.lacks(record)):
        return
    for number in range(1, record.counted(FORM[need.key]) + 1):
        key = numbered(need.key, number)
        if record.value(key) is None:
            what = need.measured or label(key)
            yield Missing(rule=rule, what=what, key=key, known=need.known)


@dataclass(frozen=True)
class Deadline:
    """A day a rule names, or for a span of hours a moment (aware)."""

    what: str
    rule: str
    by: date | datetime
    known: Known
    keeps: bool = False
    """Until when it must be kept, not by when it must be done."""


_LABEL_HOURS, _DUE_DAYS, _CLIENT_COPY_DAYS = 72, 14, 30
_KEPT_YEARS: dict[RecordRule, tuple[int, Known]] = {
    "former 7 CFR 110": (2, "from a summary"),
    "40 CFR 171": (2, "from its text"),
    "US Minnesota": (5, "from memory"),
    "US Idaho": (2, "from a summary"),
    "72 h label": (2, "from a summary"),
    "EU 2023/564": (3, "from memory"),
}


def deadlines(
    rules: Sequence[str], *, started: int, ended: int, zone: ZoneInfo, for_client: bool
) -> list[Deadline]:
    """Return what is due by when, then until when the record must be kept.

    Counted on the safe side: what is due from the start of the application, by the calendar of the
    farm; what must be kept from its end. Hours are elapsed hours.
    """
    first = datetime.fromtimestamp(started, zone)
    last = datetime.fromtimestamp(ended, zone).date()
    found = []
    if "72 h label" in rules:
        due = (first.astimezone(UTC) + timedelta(hours=_LABEL_HOURS)).astimezone(zone)
        found.append(Deadline("record complete", "72 h label", due, "from a summary"))
    if "former 7 CFR 110" in rules:
        by = first.date() + timedelta(days=_DUE_DAYS)
        found.append(Deadline("record written", "former 7 CFR 110", by, "from a summary"))
    copied = next((rule for rule in ("US Idaho", "former 7 CFR 110") if rule in rules), None)
    if for_client and copied is not None:
        by = first.date() + timedelta(days=_CLIENT_COPY_DAYS)
        found.append(Deadline("client has a copy", copied, by, "from a summary"))
    for rule in rules:
        years, known = _KEPT_YEARS[_now(rule)]
        until = _years_after(last, years)
        found.append(Deadline("record kept until", rule, until, known, keeps=True))
    return found


def deadlines_of(record: Record, rules: Sequence[str], zone: ZoneInfo) -> list[Deadline]:
    """Return the deadlines of a record whose start and end are known, else none."""
    started, ended = record.value("started"), record.value("ended")
    if started is None or ended is None:
        return []
    return deadlines(
        rules,
        started=moment(started),
        ended=moment(ended),
        zone=zone,
        for_client=record.value("client") is not None,
    )


def due_next(rules: Sequence[str], *, started: int, zone: ZoneInfo) -> str:
    """Return the first day or moment a record is due, empty where no rule names one."""
    found = deadlines(rules, started=started, ended=started, zone=zone, for_client=False)
    due = [d.by for d in found if not d.keeps]
    if not due:
        return ""
    return f"{due[0]:%Y-%m-%d %H:%M}" if isinstance(due[0], datetime) else due[0].isoformat()


def _years_after(day: date, years: int) -> date:
    try:
        return day.replace(year=day.year + years)
    except ValueError:  # 29 February: the day after the 28th, so that nothing is thrown away early
        return date(day.year + years, 3, 1)
