"""Names must lead somewhere: setup to sprayer, field to window and setups, plan to boundary."""

from collections.abc import Iterator

from watcher.farm.boundaries import Boundaries
from watcher.farm.problems import Problem, did_you_mean
from watcher.farm.reading import Draft
from watcher.farm.slips import Steps, assigned, dotted

_LEADS = (
    ("setups", "sprayer", "sprayers"),
    ("fields", "window", "windows"),
    ("fields", "setups", "setups"),
    ("fields", "products", "products"),
    ("recipients", "backup", "recipients"),
)


def unknown_names(draft: Draft) -> Iterator[Problem]:
    """Names that no table holds, and tables that must hold one and do not."""
    for table in ("sprayers", "setups", "windows", "fields", "sources"):
        if table in draft.raw and not draft.names(table):
            yield draft.problem(table, "is empty", "add at least one")
    for table, key, leads_to in _LEADS:
        for name in draft.names(table):
            yield from _missing(draft, (table, name, key), leads_to)
    for name in sorted(set(draft.names("fields")) & set(draft.names("neighbours"))):
        key = dotted(("neighbours", name))
        yield draft.problem(key, "a field has the same name", "give one of them another name")


def _missing(draft: Draft, steps: Steps, table: str) -> Iterator[Problem]:
    # From what is written, so that a slip elsewhere in the entry hides nothing here.
    told = draft.at(*steps)
    known = draft.names(table)
    for word in told if isinstance(told, list) else [told]:
        if isinstance(word, str) and word not in known:
            key, wrong = assigned(steps, word), f"there is no [{table}.{word}]"
            yield draft.problem(key, wrong, did_you_mean(word, known, table))


def unmatched_boundaries(draft: Draft, boundaries: Boundaries) -> Iterator[Problem]:
    """Fields and neighbours without a boundary, and boundaries that nobody asked for."""
    if boundaries.named is None:
        return
    tables = {name: table for table in ("fields", "neighbours") for name in draft.names(table)}
    spare = sorted(boundaries.named - tables.keys())
    for name, table in tables.items():
        if name not in boundaries.named:
            wrong = f'no feature has the id "{name}" in {boundaries.file.name}'
            mend = did_you_mean(name, spare, "features without a table") if spare else "draw it"
            yield draft.problem(dotted((table, name)), wrong, mend)
    for name in spare:
        wrong = f"neither [fields.{name}] nor [neighbours.{name}] is in {draft.file.name}"
        mend = "add one of them, or take the feature out"
        yield Problem(boundaries.file, f'feature "{name}"', wrong, mend)
