"""A connection to PostgreSQL that does not wait for ever.

A server that was stopped, or a network that swallows everything, sends no error: only who waits
can notice. Limits on the server's side (``statement_timeout``) do not help against a server that
does not run.
"""

import time
from collections.abc import Generator
from typing import Any, TypeVar

import psycopg
from psycopg.errors import OperationalError

T = TypeVar("T")


class ServerConnection(psycopg.Connection[Any]):
    """Gives up, and closes itself, when the server has been silent for ``silent_s`` seconds.

    What arrives starts the time anew: a long answer may take as long as it needs.
    """

    silent_s = float("inf")

    def wait(self, gen: Generator[Any, Any, T], *args: Any, **options: Any) -> T:
        """Do what a generator of the driver does, as long as the server answers."""
        return super().wait(self._while_answered(gen), *args, **options)

    def _while_answered(self, gen: Generator[Any, Any, T]) -> Generator[Any, Any, T]:
        """Pass everything on. The driver looks in every now and then, ready for nothing."""
        since = time.monotonic()
        try:
            wanted = next(gen)
            while True:
                ready = yield wanted
                if ready:
                    since = time.monotonic()
                elif time.monotonic() - since > self.silent_s:
                    # Closed, so that nobody asks it again, not even to roll back.
                    self.pgconn.finish()
                    raise OperationalError(f"no answer from the server in {self.silent_s:g} s")
                wanted = gen.send(ready)
        except StopIteration as done:
            result: T = done.value
            return result


def connect(silent_s: float, *args: Any, **options: Any) -> ServerConnection:
    """Connect as the driver does; ``silent_s`` is how long an answer may be waited for. [s]"""
    made = ServerConnection.connect(*args, **options)
    made.silent_s = silent_s
    return made
