"""Reading what others sent: at the worst it costs the one who sent it.

A feed's body, a station's post, the lines of a file are read by plain functions that know nothing
of where they run. ``InPlace`` runs them here and now, as commands do; the running watch has
``watcher.sources.body_process`` run them in a process apart, bounded in memory and time. Either
way a function that breaks over what it reads is a ``BrokenReadError``, never another exception.
"""

import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Protocol, TypeVar

from watcher.sources.base import SourceError
from watcher.sources.stations.bad_reading import BadReadingError

T = TypeVar("T")

SMALL_BYTES = 4096
"""So little is read in place: every reader takes time in proportion to what it reads, which for
this much is a few milliseconds at the worst, less than a process apart takes to begin."""
LONGEST_TEXT = 600
"""Characters of an error: what was sent is quoted in it, and it is logged, kept and shown."""


class BrokenReadError(SourceError):
    """What was sent broke what reads it, or what keeps it; nothing of it was taken."""

    @classmethod
    def by(cls, cause: Exception | str) -> "BrokenReadError":
        """Return the error for what broke."""
        why = cause if isinstance(cause, str) else _where_and_what(cause)
        return cls(
            f"what it sent broke its reader ({why}); nothing of it was taken; if this goes on, "
            "look at what it sends and report it to those who keep this program"
        )


class BodyReader(Protocol):
    """Runs functions that read what others sent."""

    async def read(self, work: Callable[[], T], *, size: int) -> T:
        """Return what ``work`` makes of ``size`` bytes that others sent.

        ``work`` is a module's function with its arguments (``functools.partial``): all must be fit
        to be pickled, and nothing it changes is seen here. It refuses with ``SourceError`` or
        ``BadReadingError``, which are raised here; whatever else happens, and whatever it takes
        too much of, is a ``BrokenReadError``.
        """
        ...


class InPlace:
    """Reads at once, in this process."""

    async def read(self, work: Callable[[], T], *, size: int) -> T:
        """Return what ``work`` makes of what it reads."""
        del size
        return guarded(work)


def guarded(work: Callable[[], T]) -> T:
    """Return what ``work`` returns; raises its refusals, and ``BrokenReadError`` for the rest."""
    try:
        return work()
    except BadReadingError:
        raise
    except SourceError as error:
        if len(str(error)) > LONGEST_TEXT:
            raise type(error)(shortened(str(error))) from error
        raise
    except Exception as error:
        raise BrokenReadError.by(error) from error


def _where_and_what(error: Exception) -> str:
    """Return an error's first line, and the line of the program that it comes from."""
    first = shortened(f"{type(error).__name__}: {error}".partition("\n")[0], 300)
    for frame in traceback.extract_tb(error.__traceback__, limit=-1):
        return f"{first}, at {Path(frame.filename).name}:{frame.lineno}"
    return first


def shortened(text: str, most: int = LONGEST_TEXT) -> str:
    """Return a text cut to what may be logged, kept and shown."""
    return text if len(text) <= most else f"{text[:most]}…"
