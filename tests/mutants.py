"""How many small mistakes in a room do that room's own tests catch?

Run by hand or weekly, not with the tests::

    python -m tests.mutants                         # 100 of all rooms, seed 1
    python -m tests.mutants --rooms limits judge --count 40 --seed 7

A mutant is one changed sign, comparison, boolean, bound (min and max) or constant, in a copy of the
tree. It is caught when the tests of its own room fail or hang: those that ran its line first, then
all others of every day, then those marked ``long``. The sample is drawn anew from the seed, spread
over the rooms by their size. Prints every survivor with its line, so that a test can be written for
it, or why it changes nothing be seen.
"""

import argparse
import ast
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import Queue

from coverage import CoverageData

ROOT = Path(__file__).resolve().parent.parent
ROOMS = {
    "limits": ["tests/limits"],
    "judge": ["tests/judge"],
    "weather": ["tests/weather", "tests/published"],  # a file a source, most of them of its physics
    "alerts": ["tests/alerts"],
    "delivery": ["tests/delivery"],
    "farm": ["tests/farm"],
}
"""Each room, and where its own tests are."""
Covered = dict[str, dict[int, list[str]]]
"""The tests that run a line, by file and line."""
_MOST_NAMED = 100
"""So many tests are named at most when those that run a line are tried first."""
_NOTHING_TO_RUN = 5
"""How pytest ends where no test is left: not every room has one marked ``long``."""
_COMPARED = {
    ast.Lt: ("<", "<="),
    ast.LtE: ("<=", "<"),
    ast.Gt: (">", ">="),
    ast.GtE: (">=", ">"),
    ast.Eq: ("==", "!="),
    ast.NotEq: ("!=", "=="),
}
_WORKED_OUT = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
    ast.BitAnd: ("&", "|"),
    ast.BitOr: ("|", "&"),
}
_NAMES = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum"}


@dataclass(frozen=True)
class Mutant:
    """One change in one file: ``old`` at a byte offset becomes ``new``."""

    room: str
    file: str
    line: int
    start: int
    old: str
    new: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.old} -> {self.new}"


def mutants_of(room: str, file: Path) -> Iterator[Mutant]:
    """Yield every mutant of a file, in the order of its lines."""
    text = file.read_bytes()
    starts = [0]
    for line in text.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))

    def at(line: int, column: int) -> int:
        return starts[line - 1] + column

    def mutant(line: int, start: int, old: str, new: str) -> Mutant:
        return Mutant(room, str(file.relative_to(ROOT)), line, start, old, new)

    def between(left: ast.expr, right: ast.expr, old: str, new: str) -> Iterator[Mutant]:
        first = at(left.end_lineno or 0, left.end_col_offset or 0)
        found = text.find(old.encode(), first, at(right.lineno, right.col_offset))
        if found >= 0:
            yield mutant(left.end_lineno or 0, found, old, new)

    for node in _code(ast.parse(text)):
        match node:
            case ast.Compare(left=left, ops=[op], comparators=[right]) if type(op) in _COMPARED:
                yield from between(left, right, *_COMPARED[type(op)])
            case ast.BinOp(left=left, op=op, right=right) if type(op) in _WORKED_OUT:
                yield from between(left, right, *_WORKED_OUT[type(op)])
            case ast.BoolOp(op=op, values=[left, right, *_]):
                words = ("and", "or") if isinstance(op, ast.And) else ("or", "and")
                yield from between(left, right, *words)
            case ast.UnaryOp(op=ast.USub(), operand=ast.expr()):
                yield mutant(node.lineno, at(node.lineno, node.col_offset), "-", "+")
            case ast.UnaryOp(op=ast.Invert()):
                yield mutant(node.lineno, at(node.lineno, node.col_offset), "~", " ")
            case ast.Constant(value=bool() as value):
                start = at(node.lineno, node.col_offset)
                yield mutant(node.lineno, start, str(value), str(not value))
            case ast.Constant(value=int() | float() as value):
                start = at(node.lineno, node.col_offset)
                old = text[start : at(node.end_lineno or 0, node.end_col_offset or 0)].decode()
                new = (
                    repr(value + max(1, value // 4))
                    if isinstance(value, int)
                    else repr(value * 1.25 or 1.0)
                )
                yield mutant(node.lineno, start, old, new)
            case ast.Attribute(attr=name) if name in _NAMES:
                end = at(node.end_lineno or 0, node.end_col_offset or 0)
                yield mutant(node.end_lineno or 0, end - len(name), name, _NAMES[name])
            case ast.Call(func=ast.Name(id=name) as called) if name in _NAMES:
                start = at(called.lineno, called.col_offset)
                yield mutant(called.lineno, start, name, _NAMES[name])


def _code(tree: ast.AST) -> Iterator[ast.AST]:
    """Walk the tree without annotations, imports and what only describes."""
    for name, value in ast.iter_fields(tree):
        if name in {"annotation", "returns", "decorator_list", "type_params"}:
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not isinstance(child, ast.Import | ast.ImportFrom):
                yield child
                yield from _code(child)


def sample(rooms: list[str], count: int, seed: int) -> list[Mutant]:
    """Draw mutants of the rooms, each mutant as likely as any other."""
    every = [
        mutant
        for room in rooms
        for file in sorted((ROOT / "watcher" / room).rglob("*.py"))
        for mutant in mutants_of(room, file)
    ]
    drawn = random.Random(seed).sample(every, min(count, len(every)))
    return sorted(drawn, key=lambda m: (m.room, m.file, m.start))


def covered(tree: Path, room: str) -> Covered | None:
    """Return which of a room's tests run each line of it; None when one of them fails."""
    data = tree / f".coverage.{room}"
    collecting = [f"--cov=watcher/{room}", "--cov-context=test", "--cov-report="]
    if not _passes(tree, [*collecting, *ROOMS[room]], 3600, COVERAGE_FILE=str(data)):
        return None
    found = CoverageData(str(data))
    found.read()
    return {
        str(Path(file).relative_to(tree.resolve())): {
            line: sorted({c.rpartition("|")[0] for c in contexts if c})
            for line, contexts in found.contexts_by_lineno(file).items()
        }
        for file in found.measured_files()
    }


def caught(mutant: Mutant, tree: Path, covering: Covered, longest_s: float) -> bool:
    """Whether the tests of the mutant's room fail or hang in a copy of the tree that has it."""
    file = tree / mutant.file
    right = file.read_bytes()
    old = mutant.old.encode()
    if right[mutant.start : mutant.start + len(old)] != old:
        raise AssertionError(f"{mutant} is not where it was found")
    file.write_bytes(right[: mutant.start] + mutant.new.encode() + right[mutant.start + len(old) :])
    running = covering.get(mutant.file, {}).get(mutant.line, [])
    running = running[:: 1 + len(running) // _MOST_NAMED]
    try:
        every = _ordered(mutant, tree)
        tries = [*([running] if running else []), every, ["-m", "long", *every]]
        return not all(_passes(tree, tests, longest_s) for tests in tries)
    finally:
        file.write_bytes(right)


def _ordered(mutant: Mutant, tree: Path) -> list[str]:
    """The room's tests, those named like the module first: most mutants end there."""
    named = f"test_{Path(mutant.file).stem}"
    files = [f for folder in ROOMS[mutant.room] for f in sorted((tree / folder).rglob("test_*.py"))]
    return [str(f) for f in sorted(files, key=lambda f: not f.stem.startswith(named))]


def _passes(tree: Path, tests: list[str], longest_s: float, **environment: str) -> bool:
    process = subprocess.Popen(
        [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests],
        cwd=tree,
        env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"} | environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        return process.wait(longest_s) in {0, _NOTHING_TO_RUN}
    except subprocess.TimeoutExpired:
        return False
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()


def main() -> int:
    """Draw, try and name them; returns how many of the sample survived."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rooms", nargs="+", choices=ROOMS, default=list(ROOMS))
    parser.add_argument("--count", type=int, default=100, help="how many mutants are tried")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--at-once", type=int, default=2, help="copies of the tree tried at once")
    parser.add_argument("--longest", type=float, default=900.0, help="seconds until it hangs")
    asked = parser.parse_args()
    drawn = sample(asked.rooms, asked.count, asked.seed)
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(asked.at_once) as pool:
        trees: Queue[Path] = Queue()
        for number in range(asked.at_once):
            tree = Path(folder) / str(number)
            ignored = shutil.ignore_patterns(".git", ".venv*", ".*_cache", "__pycache__")
            shutil.copytree(ROOT, tree, ignore=ignored)
            trees.put(tree)

        def tried(mutant: Mutant) -> bool:
            tree = trees.get()
            try:
                found = caught(mutant, tree, covering[mutant.room], asked.longest)
            finally:
                trees.put(tree)
            print("caught  " if found else "SURVIVED", mutant, flush=True)
            return found

        covering = {room: covered(trees.queue[0], room) or {} for room in asked.rooms}
        failing = [room for room, lines in covering.items() if not lines]
        if failing:
            sys.exit(f"the tests fail without any mutant in: {', '.join(failing)}")
        outcomes = list(pool.map(tried, drawn))
    survivors = [m for m, found in zip(drawn, outcomes, strict=True) if not found]
    print(f"{len(drawn) - len(survivors)} of {len(drawn)} caught (seed {asked.seed}); survivors:")
    for mutant in survivors:
        print(f"  {mutant}")
    return len(survivors)


if __name__ == "__main__":
    main()
