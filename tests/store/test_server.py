"""A server that takes what it is asked and never answers is given up, and found again."""

import os
import signal
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress

import pytest
from sqlalchemy import text

from watcher.store import runs
from watcher.store.database import Database
from watcher.store.errors import LogBusyError, LogRefusedError, LogUnreachableError

pytestmark = pytest.mark.long

NOW = 1_700_000_000


@contextmanager
def stopped(*processes: int) -> Iterator[None]:
    """Stop processes as a machine that hangs does: they take what is sent and do nothing."""
    try:
        for pid in processes:
            os.kill(pid, signal.SIGSTOP)
        yield
    finally:
        for pid in processes:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGCONT)


@pytest.fixture
def hasty(server_url: str) -> Iterator[Database]:
    """A log whose server may say nothing for two seconds."""
    log = Database(f"{server_url}&connect_timeout=2", silent_s=2.0)
    yield log
    log.close()


def backend(log: Database) -> int:
    with log.reading() as session:
        return int(session.scalar(text("SELECT pg_backend_pid()")))


def test_a_server_that_stops_answering_in_the_middle_is_an_error(hasty: Database) -> None:
    def write() -> None:
        with hasty.writing() as session:
            pid = session.scalar(text("SELECT pg_backend_pid()"))
            holding.enter_context(stopped(pid))
            runs.begin(session, NOW)

    with (
        ExitStack() as holding,
        pytest.raises(LogUnreachableError, match=r"no answer from the server in 2 s"),
    ):
        write()
    with hasty.reading() as session:
        assert runs.last(session) is None


def test_a_connection_that_hangs_between_two_uses_is_replaced(hasty: Database) -> None:
    with stopped(backend(hasty)), hasty.writing() as session:
        runs.begin(session, NOW)
    with hasty.reading() as session:
        assert runs.last(session) is not None


def test_a_whole_server_that_hangs_is_an_error_and_found_again(hasty: Database, cluster) -> None:
    def write() -> None:
        with hasty.writing() as session:
            runs.begin(session, NOW)

    with stopped(cluster.pid, backend(hasty)):
        for _ in range(2):
            with pytest.raises(LogUnreachableError, match="timeout expired"):
                write()
    write()


def test_an_answer_that_takes_its_time_is_waited_for_while_it_comes(hasty: Database) -> None:
    """Rows that come one by one, each sooner than what may be waited for."""
    trickle = text("SELECT repeat('x', 100000), pg_sleep(0.3) FROM generate_series(1, 8)")
    with hasty.reading() as session:
        assert len(session.execute(trickle).all()) == 8


def test_a_lock_somebody_holds_is_told_before_the_server_counts_as_silent(
    server_url: str, open_log: Callable[..., Database]
) -> None:
    hasty = Database(server_url, silent_s=2.0)

    def write() -> None:
        with hasty.writing() as session:
            runs.begin(session, NOW)

    with open_log(server_url).writing() as holder:
        holder.execute(text("LOCK TABLE watch_run IN ACCESS EXCLUSIVE MODE"))
        with pytest.raises(LogBusyError, match="held by another program"):
            write()
    write()
    hasty.close()


def test_a_user_the_server_does_not_know_is_a_matter_of_the_settings(cluster, open_log) -> None:
    url = cluster.url("postgres").replace("watch@", "nobody_here:s3cret@")
    with pytest.raises(LogRefusedError, match="correct user and password") as caught:
        open_log(url).upgrade()
    assert "s3cret" not in str(caught.value)
