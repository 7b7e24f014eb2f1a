"""The farm in every key, so that a log may hold several. What was there is of the first one.

Every table is made anew with the same columns and rows, and on SQLite copied: until that is done
the disk holds the log three times, with the copy and the journal of it.
"""

import re
from collections.abc import Callable, Iterable

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"

_PARENTS = ("job", "forecast", "day_plan")
_NUMBERED = (
    "forecast",
    "status_change",
    "job",
    "job_step",
    "job_event",
    "message",
    "day_plan",
    "plan_said",
    "watch_run",
)
_SEAL = """CREATE TRIGGER record_entry_no_{what} BEFORE {event} ON record_entry
{when}BEGIN SELECT RAISE(ABORT, 'records are append-only: write a correction'); END"""
_NOT_OVER = """WHEN EXISTS (SELECT 1 FROM record_entry
WHERE {farm}number = NEW.number OR previous = NEW.previous OR hash = NEW.hash{end})
"""
_KEY = re.compile(r"((?:PRIMARY KEY|UNIQUE|FOREIGN KEY) ?)\(")
_PARENT = re.compile(r"REFERENCES (\w+) ?\(id\)")


def upgrade() -> None:
    """Put the farm in front of every key."""
    op.create_table(
        "farm",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_farm"),
        sa.UniqueConstraint("name", name="uq_farm_name"),
    )
    op.execute("INSERT INTO farm VALUES (1, 'farm')")
    tables = _tables()
    if op.get_bind().dialect.name == "sqlite":
        _copied(tables, lambda sql: _with_farm(sql, tables), "1, ", "farm = NEW.farm\nAND (", ")")
        return
    for table in tables:
        op.execute(f"ALTER TABLE {table} ADD COLUMN farm INTEGER NOT NULL DEFAULT 1")
        op.execute(f"ALTER TABLE {table} ALTER COLUMN farm DROP DEFAULT")
    _rekeyed(tables, lambda sql: _with_farm(sql, tables))
    for table in _NUMBERED:
        op.execute(f"ALTER TABLE {table} ALTER COLUMN id DROP DEFAULT")
        op.execute(f"DROP SEQUENCE {table}_id_seq")
    for table in tables:
        op.execute(
            f"CREATE POLICY own_farm ON {table} "
            "USING (farm = current_setting('watcher.farm')::integer)"
        )
        op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")


def downgrade() -> None:
    """Take it away again, which a log of several farms cannot."""
    connection = op.get_bind()
    if connection.scalar(sa.text("SELECT count(*) FROM farm")) != 1:
        raise ValueError("the log holds several farms, which the tables before cannot tell apart")
    op.drop_table("farm")
    tables = _tables()
    if connection.dialect.name == "sqlite":
        _copied(tables, lambda sql: _without_farm(sql, tables), "", "", "")
        return
    for table in tables:
        op.execute(f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY")
        op.execute(f"DROP POLICY own_farm ON {table}")
    _rekeyed(tables, lambda sql: _without_farm(sql, tables))
    for table in _NUMBERED:
        op.execute(f"CREATE SEQUENCE {table}_id_seq AS integer OWNED BY {table}.id")
        op.execute(f"ALTER TABLE {table} ALTER COLUMN id SET DEFAULT nextval('{table}_id_seq')")
        op.execute(f"SELECT setval('{table}_id_seq', max(id)) FROM {table} HAVING count(*) > 0")  # noqa: S608
    for table in tables:
        op.execute(f"ALTER TABLE {table} DROP COLUMN farm")


def _tables() -> list[str]:
    """Return the tables of a farm's own, those that others refer to first."""
    found = sa.inspect(op.get_bind()).get_table_names()
    of_farm = sorted(set(found) - {"alembic_version", "farm"})
    return sorted(of_farm, key=lambda table: table not in _PARENTS)


def _with_farm(sql: str, tables: Iterable[str]) -> str:
    """Return the definition of a table, a key or an index with the farm in front."""
    sql = re.sub(r"^(CREATE TABLE \w+ \(\s*)", r"\1farm INTEGER NOT NULL, \n\t", sql)
    sql = _KEY.sub(r"\1(farm, ", sql)
    sql = _PARENT.sub(r"REFERENCES \1 (farm, id)", sql)
    sql = re.sub(r"^(CREATE .*?INDEX .*? ON \S+ (?:USING btree )?)\(", r"\1(farm, ", sql)
    return re.sub(_name_of(tables), r"\1_\2_farm_", sql)


def _without_farm(sql: str, tables: Iterable[str]) -> str:
    """Return the definition as it was before."""
    sql = sql.replace("farm INTEGER NOT NULL, \n\t", "").replace("(farm, ", "(")
    return re.sub(_name_of(tables) + "farm_", r"\1_\2_", sql)


def _name_of(tables: Iterable[str]) -> str:
    longest_first = "|".join(sorted(tables, key=len, reverse=True))
    return rf"\b(uq|fk|ix)_({longest_first})_(?!open_)"


def _copied(
    tables: list[str], changed: Callable[[str], str], farm: str, of_farm: str, end: str
) -> None:
    """Make every table of a SQLite file anew, with the rows it had."""
    connection = op.get_bind()
    found = connection.execute(
        sa.text("SELECT type, name, tbl_name, sql FROM sqlite_master WHERE sql IS NOT NULL")
    ).all()
    made = {row.name: row.sql for row in found if row.type == "table" and row.name in tables}
    indexes = [row for row in found if row.type == "index" and row.tbl_name in tables]
    columns = {
        table: [str(column["name"]) for column in sa.inspect(connection).get_columns(table)]
        for table in tables
    }
    for row in found:
        if row.type == "trigger":
            connection.exec_driver_sql(f"DROP TRIGGER {row.name}")
    for row in indexes:
        connection.exec_driver_sql(f"DROP INDEX {row.name}")
    for table in tables:
        connection.exec_driver_sql(f"ALTER TABLE {table} RENAME TO {table}_before")
    for table in tables:
        connection.exec_driver_sql(changed(made[table]))
        kept = ", ".join(f'"{name}"' for name in columns[table] if name != "farm")
        target = f"farm, {kept}" if farm else kept
        connection.exec_driver_sql(
            f"INSERT INTO {table} ({target}) SELECT {farm}{kept} FROM {table}_before"  # noqa: S608
        )
    for table in reversed(tables):
        connection.exec_driver_sql(f"DROP TABLE {table}_before")
    for row in indexes:
        connection.exec_driver_sql(changed(row.sql))
    not_over = _NOT_OVER.format(farm=of_farm, end=end)
    for what, event, when in (
        ("update", "UPDATE", ""),
        ("delete", "DELETE", ""),
        ("replace", "INSERT", not_over),
    ):
        connection.exec_driver_sql(_SEAL.format(what=what, event=event, when=when))


def _rekeyed(tables: list[str], changed: Callable[[str], str]) -> None:
    """Make every key and index of a PostgreSQL log anew; what refers goes first and comes last."""
    connection = op.get_bind()
    of_tables = {"tables": tables}
    keys = connection.execute(
        sa.text(
            "SELECT k.conname AS name, c.relname AS of, k.contype::text AS kind, "
            "pg_get_constraintdef(k.oid) AS sql FROM pg_constraint k "
            "JOIN pg_class c ON c.oid = k.conrelid WHERE c.relname = ANY(:tables) "
            "AND k.connamespace = current_schema()::regnamespace AND k.contype IN ('p', 'u', 'f')"
        ),
        of_tables,
    ).all()
    indexes = connection.execute(
        sa.text(
            "SELECT indexname AS name, indexdef AS sql FROM pg_indexes "
            "WHERE schemaname = current_schema() AND tablename = ANY(:tables) "
            "AND indexname <> ALL(:keys)"
        ),
        of_tables | {"keys": [key.name for key in keys]},
    ).all()
    refers_last = sorted(keys, key=lambda key: key.kind == "f")
    for key in reversed(refers_last):
        connection.exec_driver_sql(f"ALTER TABLE {key.of} DROP CONSTRAINT {key.name}")
    for index in indexes:
        connection.exec_driver_sql(f"DROP INDEX {index.name}")
    for key in refers_last:
        name, sql = changed(key.name), changed(key.sql)
        connection.exec_driver_sql(f"ALTER TABLE {key.of} ADD CONSTRAINT {name} {sql}")
    for index in indexes:
        connection.exec_driver_sql(changed(index.sql))
