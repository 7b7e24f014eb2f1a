"""Work that goes wrong in every way, for the process apart; light to import, as its readers do."""

import contextlib
import os
import time
from collections.abc import Callable
from pathlib import Path


def double(number: int) -> int:
    return 2 * number


def where() -> int:
    return os.getpid()


def refuse(kind: type[Exception], *what: str) -> None:
    raise kind(*what)


def hang() -> None:
    time.sleep(3600)


def spin() -> None:
    while True:
        pass


def grow() -> int:
    held = [bytes(2**20) for _ in range(1000)]
    return len(held)


def kill_itself(number: int) -> None:
    os.kill(os.getpid(), number)


def leave() -> None:
    os._exit(0)


def answer_much() -> bytes:
    from watcher.sources.body_process import MOST_ANSWERED  # noqa: PLC0415 - not for the others

    return bytes(MOST_ANSWERED + 1)


def unsendable() -> Callable[[], None]:
    return lambda: None


def descriptors() -> list[str]:
    return sorted(str(Path(f"/proc/self/fd/{n}").readlink()) for n in range(64) if _is_open(n))


def _is_open(number: int) -> bool:
    try:
        os.fstat(number)
    except OSError:
        return False
    return True


def open_many() -> int:
    with contextlib.ExitStack() as opened:
        return len([opened.enter_context(Path(os.devnull).open()) for _ in range(200)])
