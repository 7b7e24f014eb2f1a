"""Names must lead somewhere: setup to sprayer, field to window and setups, plan to boundary."""

from collections.abc import Iterator

from watcher.farm.geometry.boundaries import Boundaries
from watcher.farm.problems import Problem, did_you_mean
from watcher.farm.read_file import Draft
from watcher.farm.validation_messages import Steps, assigned, dotted
from watcher.i18n.message import say

_LEADS = (
    ("setups", "sprayer", "sprayers"),
    ("sprayers", "tips", "setups"),
    ("drivers", "sprayers", "sprayers"),
    ("fields", "window", "windows"),
    ("fields", "setups", "setups"),
    ("fields", "products", "products"),
    ("recipients", "backup", "recipients"),
)


def unknown_names(draft: Draft) -> Iterator[Problem]:
    """Names that no table holds, and tables that must hold one and do not."""
    for table in ("sprayers", "setups", "windows", "fields", "sources"):
        if table in draft.raw and not draft.names(table):
            yield draft.problem(table, say("is empty"), say("add at least one"))
    for table, key, leads_to in _LEADS:
        for name in draft.names(table):
            yield from _missing(draft, (table, name, key), leads_to)
    for name in sorted(set(draft.names("fields")) & set(draft.names("neighbours"))):
        wrong = say("a field has the same name")
        mend = say("give one of them another name")
        yield draft.problem(dotted(("neighbours", name)), wrong, mend)


def _missing(draft: Draft, steps: Steps, table: str) -> Iterator[Problem]:
    # From what is written, so that a mistake elsewhere in the entry hides nothing here.
    written = draft.at(*steps)
    known = draft.names(table)
    for word in written if isinstance(written, list) else [written]:
        if isinstance(word, str) and word not in known:
            key = assigned(steps, word)
            wrong = say("there is no [{table}.{word}]", table=table, word=word)
            yield draft.problem(key, wrong, did_you_mean(word, known, table))


def unmatched_boundaries(draft: Draft, boundaries: Boundaries) -> Iterator[Problem]:
    """Fields and neighbours without a boundary, and boundaries that nobody asked for."""
    if boundaries.named is None:
        return
    tables = {name: table for table in ("fields", "neighbours") for name in draft.names(table)}
    spare = sorted(boundaries.named - tables.keys())
    for name, table in tables.items():
        if name not in boundaries.named:
            file = boundaries.file.name
            wrong = say('no feature has the id "{name}" in {file}', name=name, file=file)
            what = say("features without a table")
            mend = did_you_mean(name, spare, what) if spare else say("draw it")
            yield draft.problem(dotted((table, name)), wrong, mend)
    for name in spare:
        wrong = say(
            "neither [fields.{name}] nor [neighbours.{name}] is in {file}",
            name=name,
            file=draft.file.name,
        )
        mend = say("add one of them, or take the feature out")
        yield Problem(boundaries.file, f'feature "{name}"', wrong, mend)
