"""One running watch a log, however it is addressed, until its process ends, however it ends."""

import os
import re
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

from watcher.store import runs
from watcher.store.database import Database
from watcher.store.errors import LogInUseError, LogUnreachableError
from watcher.store.running_lock import RunningLock, held, running_lock

_HOLDS = """
import sys
from watcher.store.database import Database
from watcher.store.running_lock import running_lock

lock = running_lock(Database(sys.argv[1]))
lock.take()
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def holder(empty_url: str) -> Iterator["subprocess.Popen[str]"]:
    """Another process that holds the lock of the log."""
    process = subprocess.Popen(
        [sys.executable, "-c", _HOLDS, empty_url],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    with process:
        yield process
        process.kill()


@pytest.fixture
def lock(empty_url: str, open_log) -> Iterator[RunningLock]:
    lock = running_lock(open_log(empty_url))
    yield lock
    lock.release()


def test_a_second_process_is_told_who_holds_it(lock: RunningLock, holder) -> None:
    who = rf"process {holder.pid} on {re.escape(socket.gethostname())}, since \d{{4}}-\d\d-\d\d "
    for _ in range(2):
        with pytest.raises(LogInUseError, match=who):
            lock.take()


def test_it_goes_with_a_holder_that_is_killed(lock: RunningLock, holder) -> None:
    holder.kill()
    holder.wait()
    for _ in range(200):  # a server takes a moment to see that its client is gone
        try:
            lock.take()
        except LogInUseError:
            threading.Event().wait(0.05)
        else:
            return
    raise AssertionError("still held though its holder was killed")


def test_others_read_and_write_meanwhile(empty_url: str, holder, open_log) -> None:
    log = open_log(empty_url)
    log.upgrade()
    with log.writing() as session:
        runs.begin(session, 1)


def test_taking_it_again_is_making_sure_of_it(lock: RunningLock) -> None:
    lock.take()
    lock.take()


def test_it_can_be_taken_once_it_is_released(empty_url: str, lock: RunningLock, open_log) -> None:
    other = running_lock(open_log(empty_url))
    lock.take()
    with pytest.raises(LogInUseError):
        other.take()
    lock.release()
    other.take()
    other.release()


def test_a_file_has_one_lock_by_whatever_path(
    tmp_path: Path, open_log, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    (tmp_path / "other.db").symlink_to(tmp_path / "real" / "watch.db")
    monkeypatch.chdir(tmp_path / "real")
    first = running_lock(open_log(f"sqlite:///{tmp_path}/real/watch.db"))
    first.take()
    for address in ("watch.db", f"{tmp_path}/link/watch.db", f"{tmp_path}/other.db"):
        with pytest.raises(LogInUseError, match=f"process {os.getpid()} "):
            running_lock(open_log(f"sqlite:///{address}")).take()
    first.release()


def test_logs_beside_each_other_have_locks_of_their_own(tmp_path: Path, open_log) -> None:
    locks = [running_lock(open_log(f"sqlite:///{tmp_path}/{n}.db")) for n in ("a", "b")]
    for lock in locks:
        lock.take()
    for lock in locks:
        lock.release()


def test_databases_of_one_server_have_locks_of_their_own(cluster, open_log) -> None:
    locks = [running_lock(open_log(cluster.url(cluster.new_database()))) for _ in range(2)]
    for lock in locks:
        lock.take()
    for lock in locks:
        lock.release()


def test_a_lock_file_that_says_nothing_is_held_all_the_same(tmp_path: Path, open_log) -> None:
    url = f"sqlite:///{tmp_path}/watch.db"
    first, second = running_lock(open_log(url)), running_lock(open_log(url))
    first.take()
    (tmp_path / "watch.db.lock").write_text("")
    with pytest.raises(LogInUseError, match="a process that is not named"):
        second.take()
    first.release()


def test_a_folder_that_is_not_there_is_told(tmp_path: Path, open_log) -> None:
    with pytest.raises(LogUnreachableError, match="check that its folder exists"):
        running_lock(open_log(f"sqlite:///{tmp_path}/nowhere/watch.db")).take()


def cut(log: Database) -> None:
    """End every session that holds the lock, as a server does that is started anew."""
    with log.writing() as session:
        session.execute(
            text(
                "SELECT pg_terminate_backend(pid, 10000) FROM pg_locks"
                " WHERE locktype = 'advisory' AND database ="
                " (SELECT oid FROM pg_database WHERE datname = current_database())"
            )
        )


def test_a_server_s_lock_is_taken_anew_after_its_connection_broke(
    server_url: str, open_log
) -> None:
    log = open_log(server_url)
    first, second = running_lock(log), running_lock(open_log(server_url))
    first.take()
    cut(log)
    first.take()
    with pytest.raises(LogInUseError):
        second.take()
    first.release()


def test_a_session_of_our_own_that_lingers_is_waited_for(server_url: str, open_log) -> None:
    """A server that hung still has it, when it answers again, until it sees what became of it."""
    first = running_lock(open_log(server_url))
    first.take()
    lingering, first._connection = first._connection, None
    with pytest.raises(LogUnreachableError, match="a session that has ended"):
        first.take()
    lingering.close()
    for _ in range(200):
        try:
            first.take()
        except LogUnreachableError:
            continue
        first.release()
        return
    raise AssertionError("not taken though nobody holds it")


def test_who_lost_it_to_another_copy_is_told(server_url: str, open_log) -> None:
    log = open_log(server_url)
    first, second = running_lock(log), running_lock(open_log(server_url))
    first.take()
    cut(log)
    second.take()
    lost, errors = threading.Event(), []

    def note(error: LogInUseError) -> None:
        errors.append(str(error))
        lost.set()

    with held(first, note, look_every_s=0.01):
        assert lost.wait(60)
    assert f"process {os.getpid()} on" in errors[0]
    second.release()


def test_two_farms_of_one_log_run_side_by_side(url: str, open_log) -> None:
    first, second = (running_lock(open_log(url, farm=number)) for number in (1, 2))
    again = running_lock(open_log(url, farm=2))
    first.take()
    second.take()
    with pytest.raises(LogInUseError, match="farm 2"):
        again.take()
    second.release()
    again.take()
    for lock in (first, again):
        lock.release()
