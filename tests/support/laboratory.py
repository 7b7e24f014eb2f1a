"""Runs experiments, several at once, and keeps count of what was tried and what was lost."""

import os
import random
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path

from tests.faults.invariants import Verdict, check
from tests.support.story import Experiment, tell

SEED = 20260610
_COLUMNS = "experiments", "struck", "due", "lost", "told again", "wrong", "blind said [s]"


@dataclass(frozen=True)
class Finding:
    """What came of one experiment, small enough to be handed between processes."""

    name: str
    verdict: Verdict
    struck: int
    """How many of the faults asked for came about."""


@dataclass
class Tally:
    """What was tried and lost, by kind of experiment."""

    found: dict[str, list[Finding]] = field(default_factory=dict)

    def add(self, kind: str, findings: Iterable[Finding]) -> None:
        """Count experiments, and fail with everything that is wrong with any of them."""
        findings = list(findings)
        self.found.setdefault(kind, []).extend(findings)
        wrong = [f"{f.name}: {said}" for f in findings for said in f.verdict.violations]
        assert not wrong, f"{len(wrong)} violations\n" + "\n".join(wrong[:40])

    def table(self) -> Iterator[str]:
        """The count as lines of text."""
        width = max((len(kind) for kind in self.found), default=0)
        yield " | ".join([" " * width, *_COLUMNS])
        for kind, of_kind in self.found.items():
            verdicts = [f.verdict for f in of_kind]
            counts = (
                len(of_kind),
                sum(f.struck for f in of_kind),
                sum(v.due for v in verdicts),
                sum(v.lost for v in verdicts),
                sum(v.repeated for v in verdicts),
                sum(bool(v.violations) for v in verdicts),
                round(max((v.blind_s for v in verdicts), default=0.0)),
            )
            cells = (f"{n:>{len(c)}}" for n, c in zip(counts, _COLUMNS, strict=True))
            yield " | ".join([f"{kind:<{width}}", *cells])


def find(experiment: Experiment, template: Path, folder: Path) -> Finding:
    """Live one experiment and check it."""
    outcome = tell(experiment, template, folder)
    struck = len(outcome.struck) + len(experiment.jumps) + experiment.lies
    return Finding(experiment.name, check(outcome.history), struck)


class Bench:
    """Lives experiments in as many processes as the machine has cores."""

    def __init__(self, pool: ProcessPoolExecutor, template: Path, folder: Path) -> None:
        self._pool, self._template, self._folder = pool, template, folder
        self._count = 0

    def begin(self, experiment: Experiment, template: Path | None = None) -> Future[Finding]:
        self._count += 1
        folder = self._folder / f"experiment-{self._count}"
        return self._pool.submit(find, experiment, template or self._template, folder)

    def all(self, experiments: Iterable[Experiment], template: Path | None = None) -> list[Finding]:
        """Live all of them."""
        begun = [self.begin(each, template) for each in experiments]
        return [each.result() for each in begun]


@contextmanager
def bench(template: Path, folder: Path) -> Iterator[Bench]:
    """Processes that live experiments; new ones, for this one may have threads."""
    workers = os.cpu_count() or 1
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        yield Bench(pool, template, folder)


def each_in_turn(kind: str, occasions: int, most: int, seed: int = SEED) -> list[Experiment]:
    """Stories in which one of so many occasions of a kind fails: ``most`` of them, at random."""
    numbers = range(1, occasions + 1)
    if occasions > most:
        numbers = sorted(random.Random(f"{seed} each {kind}").sample(numbers, most))
    return [nth(kind, number) for number in numbers]


def nth(kind: str, *numbers: int) -> Experiment:
    """The story with some of the occasions of one kind failing."""
    listed = ", ".join(map(str, numbers))
    # Whatever connects needs something to connect to.
    feed = "" if kind == "connect" else None
    return Experiment(f"{kind} {listed}", {kind: frozenset(numbers)}, feed=feed)


def pairs(kinds: dict[str, int], count: int, seed: int = SEED) -> list[Experiment]:
    """So many stories in which two things of different kinds fail, drawn at random.

    ``kinds`` says about how many occasions of each kind a story has.
    """
    chances = random.Random(seed)
    drawn = []
    for _ in range(count):
        one, other = chances.sample(sorted(kinds), 2)
        numbers = {kind: chances.randint(1, kinds[kind]) for kind in (one, other)}
        name = " and ".join(f"{kind} {number}" for kind, number in numbers.items())
        drawn.append(Experiment(name, {k: frozenset({n}) for k, n in numbers.items()}))
    return drawn
