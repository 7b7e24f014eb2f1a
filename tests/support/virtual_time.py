"""An event loop whose time passes only while everybody waits; the machine's clock follows it.

What runs in threads takes no time: the loop waits for it in earnest, and its clock stands. So
minutes of the service, with all its pauses, retries and deadlines, pass as quickly as its work is
done, and in the same order on a busy machine.
"""

import asyncio
import selectors
import threading
import time
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar
from unittest import mock

import time_machine

T = TypeVar("T")
_monotonic, _clock_gettime, _wrap_future = time.monotonic, time.clock_gettime, asyncio.wrap_future
_BOOTTIME = getattr(time, "CLOCK_BOOTTIME", None)
_SLICE_S = 0.02
_STUCK_S = 120.0
"""Real seconds nobody does anything in and nothing is scheduled, after which nothing ever will."""


class _Selector(selectors.DefaultSelector):
    """Waits in earnest only for threads that work; else it lets the time pass at once."""

    loop: "VirtualLoop"

    def select(self, timeout: float | None = None) -> list[Any]:
        if timeout is not None and timeout <= 0:
            return super().select(0)
        # In slices: a sender that has said what became of its message may take a while to end.
        for _ in range(round(_STUCK_S / _SLICE_S)):
            # Asked first: what a thread that ended just then has to say is found by the look after.
            busy = self.loop.busy()
            ready = super().select(0)
            if not (ready or busy) and timeout is not None:
                self.loop.let_pass(timeout)
                return []
            ready = ready or super().select(_SLICE_S)
            if ready:
                return ready
        raise AssertionError("nobody does anything, and nobody ever will")


class VirtualLoop(asyncio.SelectorEventLoop):
    """The loop. ``jump`` sets the machine's clock wrong; ``time`` runs steadily all the same."""

    def __init__(self, begin: int, hung: Callable[[], int] = lambda: 0) -> None:
        """``begin`` is the first moment [epoch seconds]; ``hung`` counts senders that hang by
        arrangement and are not waited for."""
        selector = _Selector()
        selector.loop = self
        self._passed, self._in_threads = 0.0, 0
        self._begin, self._ahead, self._hung = begin, 0.0, hung
        super().__init__(selector)
        self._machine = time_machine.travel(float(begin), tick=False)
        self._traveller: Any = None

    def time(self) -> float:
        """Seconds since the beginning."""
        return self._passed

    def busy(self) -> bool:
        """Whether a thread works on something the loop waits for."""
        sending = sum(thread.name == "push" for thread in threading.enumerate())
        return self._in_threads > 0 or sending > self._hung()

    def let_pass(self, seconds: float) -> None:
        self._passed += seconds
        self._set_machine()

    def jump(self, seconds: float) -> None:
        """Set the machine's clock on, or back, by so much."""
        self._ahead += seconds
        self._set_machine()

    def run_in_executor(self, executor: Any, func: Any, *args: Any) -> Any:
        return self._waited_for(super().run_in_executor(executor, func, *args))

    def _wrap_future(self, future: Any, **more: Any) -> Any:
        """What is handed to a thread without the loop is waited for just the same."""
        return self._waited_for(_wrap_future(future, **more))

    def _waited_for(self, future: Any) -> Any:
        self._in_threads += 1
        future.add_done_callback(self._back_from_thread)
        return future

    def _back_from_thread(self, _future: Any) -> None:
        self._in_threads -= 1

    def _set_machine(self) -> None:
        self._traveller.move_to(self._begin + self._passed + self._ahead)

    def _clock_gettime(self, clock: int) -> float:
        """The clock that nobody sets is the steady one: the machine never sleeps here."""
        return self.time() if clock == _BOOTTIME else _clock_gettime(clock)

    @contextmanager
    def clock_followed(self) -> Iterator[None]:
        """Let the machine's clock, and its steady one, follow this loop."""
        self._traveller = self._machine.start()
        try:
            with (
                mock.patch.object(time, "monotonic", self.time),
                mock.patch.object(time, "clock_gettime", self._clock_gettime),
                mock.patch.object(asyncio, "wrap_future", self._wrap_future),
            ):
                yield
        finally:
            self._machine.stop()


class SteadyLoop(asyncio.SelectorEventLoop):
    """A loop of the machine's own time, for what talks to others while the clock is virtual."""

    def time(self) -> float:
        return _monotonic()


def run(begin: int, story: Callable[[VirtualLoop], Coroutine[Any, Any, T]], **more: Any) -> T:
    """Run what ``story`` makes of a new loop to its end, and close the loop."""
    loop = VirtualLoop(begin, **more)
    with loop.clock_followed(), asyncio.Runner(loop_factory=lambda: loop) as runner:
        return runner.run(story(loop))
