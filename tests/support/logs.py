"""The same log on both databases: a SQLite file, and a throw-away PostgreSQL cluster."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import Any

import psycopg
import pytest

from watcher.store.database import Database

_DATABASES = ["sqlite", pytest.param("postgresql", marks=pytest.mark.long)]
"""Every day on one, before a change lands on both."""


def _server_programs() -> Path | None:
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    newest = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return newest[-1].parent if newest else None


class Cluster:
    """A PostgreSQL server of our own, reached by a socket in its own folder and nowhere else."""

    def __init__(self, programs: Path, folder: Path) -> None:
        self._programs = programs
        self._folder = folder
        self._numbers = count()

    def run(self, program: str, *arguments: str) -> None:
        """Run one of the server's programs; they refuse to run as root."""
        other = {"user": "postgres", "group": "postgres", "extra_groups": []}
        done = subprocess.run(
            [str(self._programs / program), *arguments],
            cwd=self._folder,
            stdout=subprocess.DEVNULL,  # a pipe would be kept open by the server it starts
            stderr=subprocess.STDOUT,
            check=False,
            **(other if os.geteuid() == 0 else {}),
        )
        assert done.returncode == 0, f"{program} ended with {done.returncode}"

    def start(self) -> None:
        """Make the cluster and start its server."""
        data = str(self._folder / "data")
        self.run("initdb", "-D", data, "-U", "watch", "-A", "trust", "--no-sync", "-E", "UTF8")
        self.start_again()

    def start_again(self) -> None:
        """Start its server after a stop."""
        data = str(self._folder / "data")
        # Nothing here needs to outlive the machine, so the server need not wait for its disk.
        options = f"-k {self._folder} -c listen_addresses='' -c fsync=off"
        self.run(
            "pg_ctl", "-D", data, "-w", "-l", str(self._folder / "log"), "-o", options, "start"
        )

    def stop(self) -> None:
        """Stop the server without ado."""
        self.run("pg_ctl", "-D", str(self._folder / "data"), "-m", "immediate", "stop")

    @property
    def runs(self) -> bool:
        """Whether the server is up."""
        return (self._folder / "data" / "postmaster.pid").exists()

    @property
    def pid(self) -> int:
        """The server's first process, which makes a new one for every connection."""
        return int((self._folder / "data" / "postmaster.pid").read_text().splitlines()[0])

    def new_database(self, like: str = "template1") -> str:
        """Return the name of a new database: an empty one, or like another of ours."""
        name = f"watch_{next(self._numbers)}"
        address = f"host={self._folder} user=watch dbname=postgres"
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name} TEMPLATE {like}")
        return name

    def url(self, name: str) -> str:
        """Return the address of one of our databases."""
        return f"postgresql://watch@/{name}?host={self._folder}"


@contextmanager
def _running_cluster() -> Iterator[Cluster]:
    programs = _server_programs()
    if programs is None:
        pytest.skip("no initdb on PATH or under /usr/lib/postgresql: PostgreSQL is not installed")
    folder = Path(tempfile.mkdtemp(prefix="watch-pg-"))  # a socket's path must be short
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
    server = Cluster(programs, folder)
    try:
        server.start()
        yield server
        server.stop()
    finally:
        shutil.rmtree(folder)


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    with _running_cluster() as server:
        yield server


@pytest.fixture
def own_cluster() -> Iterator[Cluster]:
    """A server of one test's own, which may stop it and start it again."""
    with _running_cluster() as server:
        yield server
        if not server.runs:
            server.start_again()


@pytest.fixture(params=_DATABASES)
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of a log nobody has written to, on each database."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path}/watch.db"
    cluster: Cluster = request.getfixturevalue("cluster")
    return cluster.url(cluster.new_database())


@pytest.fixture(scope="session")
def file_with_tables(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("log") / "watch.db"
    _upgrade(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="session")
def database_with_tables(cluster: Cluster) -> str:
    name = cluster.new_database()
    _upgrade(cluster.url(name))
    return name


def _upgrade(url: str) -> None:
    log = Database(url)
    log.upgrade()
    log.close()


@pytest.fixture
def server_url(cluster: Cluster, database_with_tables: str) -> str:
    """The address of a log with its tables and no rows, on PostgreSQL."""
    return cluster.url(cluster.new_database(database_with_tables))


@pytest.fixture(params=_DATABASES)
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of a log with its tables and no rows, on each database."""
    if request.param == "sqlite":
        shutil.copy(request.getfixturevalue("file_with_tables"), tmp_path / "watch.db")
        return f"sqlite:///{tmp_path}/watch.db"
    server_url: str = request.getfixturevalue("server_url")
    return server_url


@pytest.fixture
def open_log() -> Iterator[Callable[..., Database]]:
    """Open logs that are closed when the test is over."""
    opened: list[Database] = []

    def open_(url: str, busy_s: float = 30.0, **options: Any) -> Database:
        opened.append(Database(url, busy_s=busy_s, **options))
        return opened[-1]

    yield open_
    for log in opened:
        log.close()


@pytest.fixture
def log(url: str, open_log: Callable[..., Database]) -> Database:
    """A log with its tables, on each database; ``url`` opens it once more."""
    return open_log(url)
