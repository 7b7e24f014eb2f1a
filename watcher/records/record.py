"""A record as its entries tell it: what stands now, and everything that was put right."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from watcher.farm.dose import Dose
from watcher.records.errors import UnreadableError
from watcher.records.facts import Closing, Correction, EnteredValues, EntryKind, Held, Kept, Value
from watcher.records.form import FORM, Group, Item, numbered, split
from watcher.records.journal import Entry


@dataclass(frozen=True)
class Corrected:
    """A correction, who made it and when."""

    correction: Correction
    by: str
    at: int


@dataclass(frozen=True)
class Closed:
    """How a record was closed, by whom and when."""

    closing: Closing
    by: str
    at: int


@dataclass(frozen=True)
class Record:
    """One job's record. ``values`` are what stands now."""

    job: int
    entries: tuple[Entry, ...] = ()
    kept: Kept | None = None
    entered: Mapping[str, Held] = field(default_factory=dict)
    closed: Closed | None = None
    corrections: tuple[Corrected, ...] = ()

    @property
    def values(self) -> dict[str, Held]:
        """Every value that is known, in the order of the form."""
        if self.closed is None:
            stands = dict(self.kept.values if self.kept else {}) | dict(self.entered)
            stands |= totals(stands)
        else:
            stands = dict(self.closed.closing.values)
        for made in self.corrections:
            stands[made.correction.key] = Held(value=made.correction.new, origin="corrected")
        return {key: stands[key] for key in sorted(stands, key=_place)}

    def value(self, key: str) -> Value | None:
        """What stands for a key; None when nothing is known."""
        held = self.values.get(key)
        return None if held is None else held.value

    def counted(self, item: Item) -> int:
        """How many of an item the record has: products or setups, else one."""
        alike = {i.key for i in FORM.values() if i.repeats == item.repeats}
        numbers = [n for i, n in map(split, self.values) if i.key in alike]
        return max(numbers, default=1) if item.repeats != "once" else 1

    def keys(self, group: Group) -> list[str]:
        """The keys of a part of the form, those without a value too, in order."""
        items = [item for item in FORM.values() if item.group is group]
        return sorted(
            (numbered(i.key, n) for i in items for n in range(1, self.counted(i) + 1)),
            key=_place,
        )


def fold(job: int, entries: Iterable[Entry]) -> Record:
    """Return the record that a job's entries tell. Raises RecordError where one is unreadable."""
    record = Record(job)
    for entry in entries:
        try:
            record = replace(_with(record, entry), entries=(*record.entries, entry))
        except ValueError:
            raise UnreadableError(entry.link.number) from None
    return record


def _with(record: Record, entry: Entry) -> Record:
    by, at = entry.link.by, entry.link.at
    match EntryKind(entry.link.kind):
        case EntryKind.KEPT:
            return replace(record, kept=Kept.model_validate(entry.content))
        case EntryKind.ENTERED:
            values = EnteredValues.model_validate(entry.content).values
            return replace(record, entered=dict(record.entered) | values)
        case EntryKind.CLOSED:
            return replace(record, closed=Closed(Closing.model_validate(entry.content), by, at))
        case EntryKind.CORRECTED:
            made = Corrected(Correction.model_validate(entry.content), by, at)
            return replace(record, corrections=(*record.corrections, made))


def totals(values: Mapping[str, Held]) -> dict[str, Held]:
    """Rate times area, for every product whose total nobody gave."""
    area = values.get("area")
    found = {}
    for key, rate in values.items():
        item, number = split(key)
        total = numbered("total", number)
        if item.key == "rate" and area is not None and total not in values:
            amount = Dose.read(str(rate.value)).on(float(area.value))
            found[total] = Held(value=amount, origin="worked out")
    return found


def _place(key: str) -> tuple[int, int, int]:
    """Items once by themselves; all that is said of one product before the next product."""
    item, number = split(key)
    order = list(FORM)
    alike = [i.key for i in FORM.values() if (i.group, i.repeats) == (item.group, item.repeats)]
    return order.index(alike[0]), number, order.index(item.key)
