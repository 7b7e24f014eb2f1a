"""The tables the migrations make are the tables the program works with."""

from collections.abc import Callable
from dataclasses import fields

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, select, text
from sqlalchemy.exc import DBAPIError

from tests.support import job_steps
from tests.support.farm_steps import STEPS
from tests.support.farms import build, tables
from tests.support.skies import MORNING
from watcher.limits.farm_arrays import FarmArrays
from watcher.store import farms, jobs, migrations, records, runs
from watcher.store.database import Database
from watcher.store.errors import LogNewerError
from watcher.store.rows import SITE_COLUMNS
from watcher.store.tables import ForecastHour, Observation, Table
from watcher.weather.series import QUANTITIES, Site

# What alembic does not compare, each database's own account of it.
_ACCOUNTS = {
    "sqlite": "SELECT name, sql FROM sqlite_master WHERE name NOT LIKE '%alembic%' ORDER BY name",
    "postgresql": "SELECT tablename, indexname, indexdef FROM pg_indexes "
    "WHERE schemaname = 'public' AND tablename <> 'alembic_version' UNION ALL "
    "SELECT c.relname, k.conname, pg_get_constraintdef(k.oid) "
    "FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid "
    "WHERE k.connamespace = 'public'::regnamespace "
    "AND c.relname <> 'alembic_version' ORDER BY 1, 2, 3",
}


def _account(connection: Connection) -> list[tuple[str, ...]]:
    rows = connection.execute(text(_ACCOUNTS[connection.dialect.name]))
    # Words in any order: SQLite keeps the text of each CREATE with its line ends, and puts a
    # column that was added later behind the others.
    return [
        tuple(" ".join(sorted(str(cell).replace(",", " ").split())) for cell in row) for row in rows
    ]


@pytest.fixture
def by_steps(empty_url: str, open_log: Callable[..., Database]) -> Database:
    """A log that was empty and was brought here step by step, as an old one is."""
    log = open_log(empty_url)
    with log.writing() as session:
        migrations.migrate(session.connection())
    return log


def test_migrations_make_the_tables_of_the_models(by_steps: Database) -> None:
    with by_steps.reading() as session:
        context = MigrationContext.configure(session.connection(), opts={"compare_type": True})
        assert compare_metadata(context, Table.metadata) == []


def test_a_new_log_has_no_need_of_the_steps(
    empty_url: str, open_log: Callable[..., Database], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_: Connection) -> None:
        raise AssertionError("nothing was to be migrated")

    monkeypatch.setattr(migrations, "migrate", refuse)
    log = open_log(empty_url)
    log.upgrade()
    with log.reading() as session:
        assert migrations.version(session.connection()) == migrations.HEAD


def test_migrations_make_the_same_tables_as_a_new_log_has(by_steps: Database) -> None:
    with by_steps.writing() as session:
        connection = session.connection()
        by_migrations = _account(connection)
        Table.metadata.drop_all(connection)
        Table.metadata.create_all(connection)
        by_models = _account(connection)
    assert len(by_models) > 10
    assert by_migrations == by_models


def test_upgrading_twice_changes_nothing(log: Database) -> None:
    with log.reading() as session:
        before = _account(session.connection())
    log.upgrade()
    with log.reading() as session:
        assert _account(session.connection()) == before


def test_an_upgraded_log_is_opened_without_alembic(
    log: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_: Connection) -> None:
        raise AssertionError("nothing was to be migrated")

    monkeypatch.setattr(migrations, "migrate", refuse)
    log.upgrade()


def test_the_version_written_down_is_the_newest_step(log: Database) -> None:
    with log.reading() as session:
        connection = session.connection()
        steps = ScriptDirectory.from_config(migrations.config(connection))
        assert steps.get_current_head() == migrations.HEAD
        assert all(migrations.knows(step.revision) for step in steps.walk_revisions())
        assert migrations.version(connection) == migrations.HEAD


def test_a_log_of_a_newer_program_is_refused_and_left_alone(log: Database) -> None:
    with log.writing() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(LogNewerError, match=r"newer version of this program .*9999"):
        log.upgrade()
    with log.reading() as session:
        assert migrations.version(session.connection()) == "9999"


def test_an_upgrade_that_fails_half_way_leaves_nothing(
    empty_url: str, open_log: Callable[..., Database], monkeypatch: pytest.MonkeyPatch
) -> None:
    log = open_log(empty_url)
    whole = migrations.create

    def half(connection: Connection) -> None:
        whole(connection)
        raise RuntimeError("the power went")

    monkeypatch.setattr(migrations, "create", half)
    with pytest.raises(RuntimeError, match="the power went"):
        log.upgrade()
    with log.reading() as session:
        assert migrations.version(session.connection()) is None
        assert _account(session.connection()) == []
    monkeypatch.undo()
    log.upgrade()
    with log.reading() as session:
        assert migrations.version(session.connection()) == migrations.HEAD


def test_jobs_from_before_steps_were_kept_go_on_as_they_were(log: Database) -> None:
    plan = FarmArrays.of(build(tables()))
    with log.writing() as session:
        number = job_steps.start(session, plan, "hill", "coarse", MORNING).id
        job_steps.pause(session, number, MORNING + 100, "gusts")
        job_steps.resume(session, number, MORNING + 160)
        job_steps.change_setup(session, plan, number, "fine", MORNING + 200)
        planned_s = jobs.job(session, number).planned_s
    with log.writing() as session:
        command.downgrade(migrations.config(session.connection()), "0006")
    log.upgrade()
    with log.writing() as session:
        job = job_steps.finish(session, number, MORNING + 300)
        assert (job.state, job.setup, job.paused_s) == ("finished", "fine", 60)
        assert job.planned_s == pytest.approx(planned_s)
        taken = [event.what for event in jobs.events(session, number)]
        assert taken == ["started", "paused", "resumed", "setup changed", "finished"]


def _everything(connection: Connection) -> dict[str, list[str]]:
    """Every row of every table, without the farm, in any order."""
    found = {}
    for table in Table.metadata.sorted_tables:
        if table.name != "farm":
            columns = [column for column in table.columns if column.name != "farm"]
            found[table.name] = sorted(map(repr, connection.execute(select(*columns)).all()))
    return found


def test_what_a_log_held_before_farms_is_the_first_farms(log: Database) -> None:
    with log.writing() as session:
        for step in STEPS:
            step(session, MORNING, 3.0)
        session.flush()
        before = _everything(session.connection())
        chain = [entry.hash for entry in records.entries(session)]
    with log.writing() as session:
        command.downgrade(migrations.config(session.connection()), "0015")
    log.upgrade()
    with log.writing() as session:
        assert _everything(session.connection()) == before
        assert sum(map(len, before.values())) > 20
        assert [entry.hash for entry in records.entries(session)] == chain
        # Numbers go on where they stood, and the seal is whole.
        assert runs.begin(session, MORNING) == 2
    with pytest.raises(DBAPIError, match="append-only"), log.writing() as session:
        session.execute(text("UPDATE record_entry SET content = 'other'"))


def test_several_farms_are_not_put_together_again(log: Database) -> None:
    with log.writing() as session:
        farms.add(session, "north")
    with pytest.raises(ValueError, match="several farms"), log.writing() as session:
        command.downgrade(migrations.config(session.connection()), "0015")


def test_every_quantity_has_a_column_in_observations_and_forecasts() -> None:
    own = {
        Observation: {"farm", "source", "time", "flags", "bounds", "received_at"},
        ForecastHour: {"farm", "forecast_id", "time", "bounds"},
    }
    for table, others in own.items():
        assert set(table.__table__.columns.keys()) - others == set(QUANTITIES)


def test_every_property_of_a_site_has_a_column() -> None:
    # What grows under a sensor is said by the farm file alone, whenever the log is read.
    assert set(SITE_COLUMNS) == {field.name for field in fields(Site)} - {"canopy_m"}
