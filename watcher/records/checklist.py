"""What a record still needs and what it has, as one form: what is missing first."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from watcher.i18n.message import Message, joined, say
from watcher.records.form import (
    FORM,
    FormError,
    Group,
    Item,
    choices,
    is_moment,
    labelled,
    numbered,
    split,
    typed,
)
from watcher.records.layout import Writer
from watcher.records.record import Record
from watcher.records.rules import missing
from watcher.records.words import WORDS

_MOST_NUMBERED = 20


@dataclass(frozen=True)
class FormLine:
    """One value of the form."""

    key: str
    label: Message
    was: str
    """What stands, as it is typed; empty where nothing does."""
    value: str
    """The same, or what was typed in its place and could not be written."""
    unit: str
    """The unit a bare number is taken in."""
    origin: Message | None
    """Where what stands comes from."""
    rule: str
    """The rule that asks for what is missing."""
    example: str
    chosen_from: tuple[tuple[str, str], ...]
    """What there is to choose from, each with its words; empty for what is typed in."""
    is_moment: bool
    error: Message | None
    """Why what was typed was not written."""


@dataclass(frozen=True)
class Section:
    """Values of one part of the form, or of one product or setup in it."""

    title: Message
    lines: tuple[FormLine, ...]
    folds: bool
    """Whether it is one of several alike, shown in short until it is opened."""

    @property
    def wrong(self) -> bool:
        """Whether something in it needs to be looked at."""
        return any(line.error or line.value != line.was for line in self.lines)

    @property
    def short(self) -> Message:
        """What stands in it, without the first value, which is its name."""
        shown = {line.was: dict(line.chosen_from).get(line.was, line.was) for line in self.lines}
        return joined(
            (
                joined(
                    [WORDS[split(line.key)[0].label], f"{shown[line.was]} {line.unit}".strip()], " "
                )
                for line in self.lines[1:]
            ),
            "; ",
        )

    @property
    def origins(self) -> tuple[Message, ...]:
        """Where what stands in it comes from."""
        return tuple({str(line.origin): line.origin for line in self.lines if line.origin}.values())


@dataclass(frozen=True)
class Checklist:
    """The whole form."""

    missing: tuple[FormLine, ...]
    """What the rules ask for and nobody gave."""
    there: tuple[Section, ...]
    """What is filled in, by the parts of the form."""
    blank: tuple[FormLine, ...]
    """What may be added though no rule asks for it."""

    @property
    def opens(self) -> bool:
        """Whether something among the blanks needs to be looked at."""
        return any(line.error or line.value for line in self.blank)


def checklist(
    record: Record,
    rules: Sequence[str],
    writer: Writer,
    *,
    written: Mapping[str, str] | None = None,
    wrong: Mapping[str, FormError] | None = None,
) -> Checklist:
    """Lay a record out as a form; with what was ``written`` in it and not taken, by key."""
    stands, written, wrong = record.values, written or {}, wrong or {}
    lacks = {lack.key: lack.rule for lack in missing(record, rules)}

    def line(key: str) -> FormLine:
        item, held = split(key)[0], stands.get(key)
        was = typed(item, None if held is None else held.value, writer.system)
        error = wrong.get(key)
        return FormLine(
            key=key,
            label=labelled(key),
            was=was,
            value=written.get(key, was),
            unit="" if item.kind is None else item.kind.unit(writer.system),
            origin=None if held is None else WORDS[held.origin],
            rule=lacks.get(key, ""),
            example=item.example if item.kind is None and not choices(item) else "",
            chosen_from=tuple((c, writer.word(c)) for c in choices(item)),
            # A moment the clock shows twice needs its offset, which a picker cannot write.
            is_moment=is_moment(item) and error is None,
            error=None if error is None else error.beside,
        )

    there: list[Section] = []
    blank: list[FormLine] = []
    for group in Group:
        keys = [*record.keys(group), *_one_more(record, group)]
        there += _sections(group, [line(key) for key in keys if key in stands])
        blank += [line(key) for key in keys if key not in stands and key not in lacks]
    return Checklist(tuple(line(key) for key in lacks), tuple(there), tuple(blank))


def _sections(group: Group, lines: Sequence[FormLine]) -> Iterator[Section]:
    """The part as a whole, then each product or setup in it by itself."""

    def alike(line: FormLine) -> tuple[bool, int]:
        item, number = split(line.key)
        return item.repeats != "once", number

    for (folds, _), found in groupby(lines, alike):
        own = tuple(found)
        if folds:
            yield Section(say("{what}: {name}", what=own[0].label, name=own[0].was), own, folds)
        else:
            yield Section(WORDS[group.value], own, folds)


def _one_more(record: Record, group: Group) -> Iterator[str]:
    """The keys of one more product than the record has."""
    for item in FORM.values():
        if item.group is group and item.repeats == "by product":
            yield from _next(record, item)


def _next(record: Record, item: Item) -> Iterator[str]:
    number = record.counted(item) + 1
    if number <= _MOST_NUMBERED and record.value("product") is not None:
        yield numbered(item.key, number)
