"""Reading in a process apart: whatever a body does to its reader, it costs that body alone."""

import asyncio
import contextlib
import errno
import os
import signal
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from tests.support.body_work import (
    answer_much,
    descriptors,
    double,
    grow,
    hang,
    kill_itself,
    leave,
    open_many,
    refuse,
    spin,
    unsendable,
    where,
)
from watcher.sources.base import SourceError
from watcher.sources.body_process import MOST_WAITING, BodyProcess
from watcher.sources.body_reader import LONGEST_TEXT, SMALL_BYTES, BrokenReadError, InPlace
from watcher.sources.forked_readers import Limits
from watcher.sources.stations.bad_reading import BadReadingError

LARGE = SMALL_BYTES + 1
QUICK = Limits(wall_s=2.0, cpu_s=1, memory=64 * 2**20)


@pytest.fixture
def reader() -> Iterator[BodyProcess]:
    made = BodyProcess(QUICK)
    yield made
    made.close()


async def read(reader: Any, function: Callable[..., Any], *arguments: Any) -> Any:
    return await reader.read(partial(function, *arguments), size=LARGE)


@contextlib.asynccontextmanager
async def ticking() -> AsyncIterator[list[int]]:
    """Count the turns that others get meanwhile."""
    ticks: list[int] = []

    async def tick() -> None:
        while True:
            ticks.append(len(ticks))
            await asyncio.sleep(0.01)

    task = asyncio.create_task(tick())
    yield ticks
    task.cancel()


async def test_work_is_done_in_another_process_and_small_work_here(reader: BodyProcess) -> None:
    assert reader.pid is None  # there was nothing to read yet
    assert await read(reader, double, 21) == 42
    assert await read(reader, where) not in {os.getpid(), reader.pid}
    assert await reader.read(where, size=SMALL_BYTES) == os.getpid()


@pytest.mark.parametrize("error", [(SourceError, "no"), (BadReadingError, "key", "wrong", "mend")])
@pytest.mark.parametrize("size", [1, LARGE])
async def test_a_refusal_comes_back_as_it_was(
    reader: BodyProcess, error: tuple[Any, ...], size: int
) -> None:
    with pytest.raises(error[0]) as found:
        await reader.read(partial(refuse, *error), size=size)
    assert str(found.value) == ("no" if error[0] is SourceError else "key: wrong; mend")
    assert not isinstance(found.value, BrokenReadError)


@pytest.mark.parametrize("size", [1, LARGE])
@pytest.mark.parametrize("kind", [KeyError, RecursionError, MemoryError, ZeroDivisionError])
async def test_any_other_error_is_one_of_the_source(
    reader: BodyProcess, kind: type[Exception], size: int
) -> None:
    for at in (reader, InPlace()):
        with pytest.raises(BrokenReadError, match=kind.__name__):
            await at.read(partial(refuse, kind, "what"), size=size)


@pytest.mark.parametrize("size", [1, LARGE])
async def test_an_error_quotes_only_so_much(reader: BodyProcess, size: int) -> None:
    for kind in (SourceError, ValueError):
        with pytest.raises(SourceError) as found:
            await reader.read(partial(refuse, kind, "x" * 100_000), size=size)
        assert len(str(found.value)) <= LONGEST_TEXT + 1


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (hang, ()),
        (spin, ()),
        (grow, ()),
        (leave, ()),
        (answer_much, ()),
        (unsendable, ()),
        (open_many, ()),
        (kill_itself, (signal.SIGKILL,)),
        (kill_itself, (signal.SIGSEGV,)),
    ],
    ids=lambda value: getattr(value, "__name__", None),
)
async def test_a_reader_that_goes_wrong_costs_its_body_only(
    reader: BodyProcess, function: Callable[..., Any], arguments: tuple[Any, ...]
) -> None:
    async with ticking() as ticks:
        with pytest.raises(BrokenReadError):
            await read(reader, function, *arguments)
        before = len(ticks)
        await asyncio.sleep(0.05)
        assert len(ticks) > before
        assert await read(reader, double, 2) == 4


async def test_others_are_read_while_one_hangs(reader: BodyProcess) -> None:
    hanging = asyncio.create_task(read(reader, hang))
    async with ticking() as ticks:
        assert [await read(reader, double, n) for n in range(3)] == [0, 2, 4]
        assert not hanging.done()
        with pytest.raises(BrokenReadError):
            await hanging
    assert len(ticks) > 10


async def test_only_so_many_bodies_wait() -> None:
    reader = BodyProcess()
    waiting = [asyncio.create_task(read(reader, double, n)) for n in range(MOST_WAITING)]
    await asyncio.sleep(0)
    with pytest.raises(SourceError, match="too much waits"):
        await read(reader, double, 1)
    assert await asyncio.gather(*waiting) == [2 * n for n in range(MOST_WAITING)]
    assert await read(reader, double, 1) == 2
    reader.close()


async def test_a_reading_given_up_leaves_its_turn_to_others(reader: BodyProcess) -> None:
    for _ in range(3):
        hanging = asyncio.create_task(read(reader, hang))
        await asyncio.sleep(0.05)
        hanging.cancel()
        await asyncio.gather(hanging, return_exceptions=True)
    assert await read(reader, double, 2) == 4


async def test_a_reader_holds_nothing_of_the_watch(tmp_path: Path) -> None:
    with (tmp_path / "log.db").open("w") as log:
        reader = BodyProcess()
        held = await read(reader, descriptors)
        reader.close()
        assert not log.closed
    assert {kind.partition(":")[0] for kind in held} == {os.devnull, "socket"}
    assert len(held) == 4  # input, output, error, and what its work came over


async def test_the_process_is_replaced_when_it_is_killed() -> None:
    reader = BodyProcess(Limits(wall_s=30.0))
    assert await reader.read(partial(divmod, 5, 2), size=LARGE) == (2, 1)
    first = reader.pid
    assert first is not None
    os.kill(first, signal.SIGKILL)
    await asyncio.to_thread(os.waitid, os.P_PID, first, os.WEXITED | os.WNOWAIT)
    assert await reader.read(partial(divmod, 7, 2), size=LARGE) == (3, 1)
    assert reader.pid != first
    assert await reader.read(partial(divmod, 9, 2), size=LARGE) == (4, 1)
    reader.close()


async def test_a_killed_reader_costs_its_body_only(reader: BodyProcess) -> None:
    assert await read(reader, double, 1) == 2
    reading = asyncio.create_task(read(reader, hang))
    await asyncio.sleep(0)  # it is handed over
    assert reader.pid is not None
    os.kill(await asyncio.to_thread(_child_of, reader.pid), signal.SIGKILL)
    with pytest.raises(BrokenReadError, match="killed"):
        await reading
    assert await read(reader, double, 2) == 4


async def test_the_process_ends_when_nothing_is_read_and_begins_anew() -> None:
    reader = BodyProcess(idle_s=0.0)
    assert await read(reader, double, 1) == 2
    first = reader.pid
    assert first is not None
    while reader.pid is not None:  # noqa: ASYNC110 - nothing but the reader knows
        await asyncio.sleep(0)
    assert not _lives(first)
    assert await read(reader, double, 2) == 4
    reader.close()


async def test_what_no_process_can_be_started_for_is_no_mistake_of_the_source(
    reader: BodyProcess, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none_left(*_: Any) -> int:
        raise BlockingIOError(errno.EAGAIN, os.strerror(errno.EAGAIN))

    with monkeypatch.context() as without:
        without.setattr(os, "posix_spawn", none_left)
        with pytest.raises(SourceError, match="no process can be started") as found:
            await read(reader, double, 1)
    assert not isinstance(found.value, BrokenReadError)
    assert await read(reader, double, 2) == 4


_PARENT = """
import asyncio, os, signal, sys
from functools import partial
from watcher.sources.body_process import BodyProcess
reader = BodyProcess()
asyncio.run(reader.read(partial(divmod, 7, 2), size=10_000))
print(reader.pid, flush=True)
sys.stdin.read()
{end}
"""


@pytest.mark.parametrize("end", ["reader.close()", "os.kill(os.getpid(), signal.SIGKILL)"])
def test_the_process_ends_with_the_watch_and_not_before(end: str) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", _PARENT.format(end=end)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as parent:
        assert parent.stdout is not None
        pid = int(parent.stdout.readline())
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            os.kill(pid, number)
        assert _lives(pid)
        _, found = parent.communicate()
    for _ in range(1000):
        if not _lives(pid):
            break
        time.sleep(0.01)
    assert not _lives(pid)
    assert found == ""


def _child_of(pid: int) -> int:
    children = Path(f"/proc/{pid}/task/{pid}/children")
    while not (found := children.read_text().split()):
        time.sleep(0.01)
    return int(found[0])


def _lives(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"
