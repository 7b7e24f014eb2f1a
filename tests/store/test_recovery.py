"""Whatever became of a log, it is opened or replaced, nothing is deleted, and the loss is known."""

import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

from tests.support import job_steps
from watcher.store import conditions, runs
from watcher.store.conditions import Raised
from watcher.store.database import Database
from watcher.store.errors import LogInUseError, LogNewerError, LogUnreachableError
from watcher.store.last_known import LastKnownFile, Loss
from watcher.store.recovery import OwnLog
from watcher.store.running_lock import running_lock

NOW = 1_790_000_000
DAY = 86_400


class Life:
    """One process with the log of a folder: it runs, notes what it knows, and is killed."""

    def __init__(self, url: str, folder: Path) -> None:
        self.log = Database(url, busy_s=5.0)
        self.lock = running_lock(self.log)
        self.notes = LastKnownFile(self.log, folder)
        self.own = OwnLog(self.log, self.lock, self.notes)

    def begin(self, now: int) -> Loss | None:
        loss = self.own.open(now)
        with self.log.writing() as session:
            self.run = runs.begin(session, now)
        self.own.note()
        return loss

    def judge(self, now: int) -> None:
        with self.log.writing() as session:
            runs.seen(session, self.run, now)
        self.own.note()

    def start_job(self, field: str, now: int) -> int:
        with self.log.writing() as session:
            number = job_steps.started(
                session, field=field, setup="coarse", sprayer=field, at=now, planned_s=3600
            ).id
        self.own.note()
        return number

    def finish(self, number: int, now: int) -> None:
        with self.log.writing() as session:
            job_steps.finish(session, number, now)
        self.own.note()

    def end(self) -> None:
        self.log.close()
        self.lock.release()


Start = Callable[..., Life]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    lives: list[Life] = []

    def begun(url: str | None = None) -> Life:
        lives.append(Life(url or f"sqlite:///{tmp_path}/watch.db", tmp_path))
        return lives[-1]

    yield begun
    for life in lives:
        life.end()


def lived(start: Start, *, job: str | None = "hill", url: str | None = None) -> None:
    """A run of an hour, with a job that is still open at its end."""
    life = start(url)
    assert life.begin(NOW) is None
    if job is not None:
        life.start_job(job, NOW + 600)
    life.judge(NOW + 3600)
    life.end()


def fields(loss: Loss) -> list[str]:
    assert loss.jobs is not None
    return [job.field for job in loss.jobs]


def test_a_log_that_is_as_it_was_lost_nothing(start: Start, empty_url: str) -> None:
    lived(start, url=empty_url)
    assert start(empty_url).begin(NOW + DAY) is None


def no_database(path: Path) -> None:
    path.write_bytes(b"This is not a database.\n" * 500)


def spoilt_pages(path: Path) -> None:
    whole = bytearray(path.read_bytes())
    for page in range(4096, len(whole), 8192):
        whole[page : page + 4096] = b"\xff" * 4096
    path.write_bytes(whole)


def cut_to(size: float) -> Callable[[Path], None]:
    """Keep so many bytes, or such a share."""

    def cut(path: Path) -> None:
        kept = int(size if size > 1 else size * path.stat().st_size)
        os.truncate(path, kept)

    return cut


SPOILS = {
    "no database": no_database,
    "pages": spoilt_pages,
    "a few bytes left": cut_to(10),
    "half a header left": cut_to(60),
    "a header left": cut_to(100),
    "part of a page left": cut_to(1000),
    "a page left": cut_to(4096),
    "half left": cut_to(0.5),
    "nearly all left": cut_to(0.97),
}


@pytest.mark.parametrize("spoil", SPOILS)
def test_a_damaged_log_is_kept_beside_and_replaced(
    spoil: str, start: Start, tmp_path: Path
) -> None:
    lived(start)
    path = tmp_path / "watch.db"
    SPOILS[spoil](path)
    left = path.read_bytes()
    life = start()
    loss = life.begin(NOW + DAY)
    assert loss is not None
    assert (loss.trouble, loss.watched_until) == ("damaged", NOW + 3600)
    assert fields(loss) == ["hill"]
    assert loss.aside == "watch.db.damaged-20260922T141320Z"
    assert (tmp_path / loss.aside).read_bytes() == left
    life.judge(NOW + DAY + 30)
    life.end()
    assert start().begin(NOW + 2 * DAY) is None


def test_a_damaged_log_of_which_nothing_was_noted_is_replaced_too(
    start: Start, tmp_path: Path
) -> None:
    no_database(tmp_path / "watch.db")
    loss = start().begin(NOW)
    assert loss is not None
    assert (loss.trouble, loss.watched_until, loss.jobs) == ("damaged", None, None)


def test_what_was_noted_is_no_trouble_when_it_is_spoilt_itself(
    start: Start, tmp_path: Path
) -> None:
    lived(start)
    (tmp_path / "watch.db.known.json").write_text('{"first": {"id"')
    life = start()
    assert life.begin(NOW + DAY) is None
    assert life.notes.read() is not None


def test_an_emptied_log_is_not_taken_for_a_new_one(start: Start, tmp_path: Path) -> None:
    lived(start)
    os.truncate(tmp_path / "watch.db", 0)
    loss = start().begin(NOW + DAY)
    assert loss is not None
    assert (loss.trouble, fields(loss)) == ("emptied", ["hill"])


def test_a_log_with_its_tables_and_nothing_in_them_is_an_emptied_one(
    start: Start, tmp_path: Path, file_with_tables: Path
) -> None:
    lived(start)
    shutil.copy(file_with_tables, tmp_path / "watch.db")
    loss = start().begin(NOW + DAY)
    assert loss is not None
    assert (loss.trouble, fields(loss)) == ("emptied", ["hill"])
    assert (tmp_path / str(loss.aside)).exists()


def test_an_emptied_log_s_journal_is_kept(start: Start, tmp_path: Path) -> None:
    """SQLite throws the journal of an empty file away when it opens it."""
    lived(start)
    os.truncate(tmp_path / "watch.db", 0)
    (tmp_path / "watch.db-wal").write_bytes(b"the newest part")
    loss = start().begin(NOW + DAY)
    assert loss is not None
    assert (tmp_path / f"{loss.aside}-wal").read_bytes() == b"the newest part"


def test_a_missing_log_is_not_taken_for_a_first_start(start: Start, tmp_path: Path) -> None:
    lived(start)
    (tmp_path / "watch.db").unlink()
    loss = start().begin(NOW + DAY)
    assert loss is not None
    assert (loss.trouble, fields(loss), loss.aside) == ("missing", ["hill"], None)


def test_a_log_copied_without_its_journal_lacks_its_newest_part(
    start: Start, tmp_path: Path
) -> None:
    life = start()
    life.begin(NOW)
    over = life.start_job("over", NOW + 60)
    life.judge(NOW + 600)
    other = sqlite3.connect(tmp_path / "watch.db")
    other.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    other.close()
    life.finish(over, NOW + 700)
    life.start_job("hill", NOW + 900)
    life.judge(NOW + 3600)
    shutil.copy(tmp_path / "watch.db", tmp_path / "copy.db")
    life.end()
    for end in ("-wal", "-shm"):
        (tmp_path / f"watch.db{end}").unlink(missing_ok=True)
    (tmp_path / "copy.db").rename(tmp_path / "watch.db")
    again = start()
    loss = again.begin(NOW + DAY)
    assert loss is not None
    assert (loss.trouble, loss.known_until, loss.watched_until) == ("older", NOW + 600, NOW + 3600)
    assert fields(loss) == ["hill"]
    assert [job.field for job in loss.over] == ["over"]
    assert loss.aside is None
    again.end()
    assert start().begin(NOW + 2 * DAY) is None


def test_a_backup_of_an_earlier_run_is_gone_on_with(start: Start, tmp_path: Path) -> None:
    lived(start, job=None)
    shutil.copy(tmp_path / "watch.db", tmp_path / "backup.db")
    life = start()
    life.begin(NOW + DAY)
    life.start_job("hill", NOW + DAY + 60)
    life.end()
    shutil.copy(tmp_path / "backup.db", tmp_path / "watch.db")
    again = start()
    loss = again.begin(NOW + 2 * DAY)
    assert loss is not None
    assert (loss.trouble, loss.known_until, fields(loss)) == ("older", NOW + 3600, ["hill"])
    with again.log.reading() as session:
        assert runs.first(session).started_at == NOW


def test_the_log_of_another_watch_is_moved_aside(start: Start, tmp_path: Path) -> None:
    lived(start)
    (tmp_path / "other").mkdir()
    other = start(f"sqlite:///{tmp_path}/other/watch.db")
    other.begin(NOW + 7)
    other.end()
    shutil.copy(tmp_path / "other" / "watch.db", tmp_path / "watch.db")
    loss = start().begin(NOW + DAY)
    assert loss is not None
    assert (loss.trouble, fields(loss)) == ("another", ["hill"])
    with sqlite3.connect(tmp_path / str(loss.aside)) as kept:
        assert kept.execute("SELECT started_at FROM watch_run").fetchall() == [(NOW + 7,)]
    kept.close()


def test_a_server_s_database_that_was_emptied_is_gone_on_with(
    start: Start, server_url: str
) -> None:
    lived(start, url=server_url)
    life = start(server_url)
    with life.log.writing() as session:
        session.execute(text("DROP SCHEMA public CASCADE; CREATE SCHEMA public"))
    loss = life.begin(NOW + DAY)
    assert loss is not None
    assert (loss.trouble, fields(loss), loss.aside) == ("emptied", ["hill"], None)


def test_a_loss_is_returned_again_until_it_can_have_been_told(start: Start, tmp_path: Path) -> None:
    lived(start)
    no_database(tmp_path / "watch.db")
    life = start()
    first = life.own.open(NOW + DAY)
    life.end()  # killed before it could tell
    again = start()
    assert again.begin(NOW + DAY + 60) == first
    again.end()
    assert start().begin(NOW + 2 * DAY) is None
    assert len(list(tmp_path.glob("watch.db.damaged-*Z"))) == 1


def test_two_damaged_logs_of_one_second_are_both_kept(start: Start, tmp_path: Path) -> None:
    for _ in range(2):
        no_database(tmp_path / "watch.db")
        life = start()
        life.begin(NOW)
        life.end()
    assert len(list(tmp_path.glob("watch.db.damaged-*"))) == 2


def test_damage_met_in_use_has_the_whole_log_looked_at(
    start: Start, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("watcher.store.database._CHECKED_AT_START_BYTES", 0)
    life = start()
    life.begin(NOW)
    life.start_job("hill", NOW + 60)
    with life.log.writing() as session:
        for number in range(1500):
            conditions.keep(session, [Raised(f"field {number}", "wind", NOW, {"text": "x" * 500})])
    life.log.close()
    path = tmp_path / "watch.db"
    whole = bytearray(path.read_bytes())
    middle = len(whole) // 2 // 4096 * 4096
    whole[middle : middle + 4096] = b"\xff" * 4096
    path.write_bytes(whole)
    assert life.begin(NOW + DAY) is None  # a large log is not read as a whole at every start
    life.own.damage_met()
    loss = life.begin(NOW + DAY + 10)
    assert loss is not None
    assert (loss.trouble, fields(loss)) == ("damaged", ["hill"])


def test_damage_met_again_in_a_log_that_looks_sound_replaces_it(
    start: Start, tmp_path: Path
) -> None:
    life = start()
    life.begin(NOW)
    life.own.damage_met()
    assert life.begin(NOW + 60) is None
    life.end()
    again = start()  # also where the process is another one
    again.begin(NOW + 120)
    again.own.damage_met()
    loss = again.begin(NOW + 180)
    assert loss is not None
    assert loss.trouble == "damaged"
    again.end()
    assert start().begin(NOW + DAY) is None


def test_little_room_on_the_disk_is_told(
    start: Start, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lived(start)
    no_database(tmp_path / "watch.db")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(9, 8, 5_000_000))
    loss = start().begin(NOW + DAY)
    assert loss is not None
    assert loss.free_bytes == 5_000_000


def test_a_log_of_a_newer_program_is_left_alone(start: Start, tmp_path: Path) -> None:
    lived(start)
    with sqlite3.connect(tmp_path / "watch.db") as newer:
        newer.execute("UPDATE alembic_version SET version_num = '9999'")
    newer.close()
    with pytest.raises(LogNewerError):
        start().begin(NOW + DAY)
    assert list(tmp_path.glob("*9999*")) == []
    assert (tmp_path / "watch.db").exists()


def test_a_log_another_watch_runs_on_is_neither_opened_nor_moved(
    start: Start, tmp_path: Path
) -> None:
    start().begin(NOW)
    with pytest.raises(LogInUseError):
        start().begin(NOW + 60)


def test_a_folder_that_comes_later_is_opened_then(start: Start, tmp_path: Path) -> None:
    life = start(f"sqlite:///{tmp_path}/later/watch.db")
    with pytest.raises(LogUnreachableError):
        life.own.open(NOW)
    (tmp_path / "later").mkdir()
    assert life.begin(NOW) is None


def test_nothing_is_written_beside_the_log_while_nothing_changes(
    start: Start, tmp_path: Path
) -> None:
    life = start()
    life.begin(NOW)
    file = tmp_path / "watch.db.known.json"
    before = file.stat().st_ino
    for second in range(1, 60):
        life.judge(NOW + second)
    assert file.stat().st_ino == before
    life.judge(NOW + 60)
    assert file.stat().st_ino != before
    before = file.stat().st_ino
    life.judge(NOW - 3600)  # a clock that was set back
    assert file.stat().st_ino != before
    life.end()
    assert start().begin(NOW - 3000) is None
