"""A site's elevation may be unknown: feeds do not always say it."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"

_TABLES = ("site", "forecast")
_MUST, _MAY = "elevation_m DOUBLE NOT NULL", "elevation_m DOUBLE"


def upgrade() -> None:
    """Let it be missing."""
    for table in _TABLES:
        if op.get_context().dialect.name == "sqlite":
            _rewrite(table, _MUST, _MAY)
        else:
            op.alter_column(table, "elevation_m", nullable=True)


def downgrade() -> None:
    """Call what is missing sea level, as the tables before could not do without."""
    for table in _TABLES:
        op.execute(sa.text(f"UPDATE {table} SET elevation_m = 0 WHERE elevation_m IS NULL"))  # noqa: S608
        if op.get_context().dialect.name == "sqlite":
            _rewrite(table, _MAY, _MUST)
        else:
            op.alter_column(table, "elevation_m", nullable=False)


def _rewrite(table: str, old: str, new: str) -> None:
    """Change what SQLite holds a table to, as its manual says for this (ALTER TABLE, section 7).

    To copy the table instead would break the rows of others that refer to its rows.
    """
    connection = op.get_bind()
    version = connection.scalar(sa.text("PRAGMA schema_version"))
    connection.execute(sa.text("PRAGMA writable_schema = ON"))
    connection.execute(
        sa.text(
            "UPDATE sqlite_master SET sql = replace(sql, :old, :new) "
            "WHERE type = 'table' AND name = :table"
        ),
        {"old": old, "new": new, "table": table},
    )
    connection.execute(sa.text(f"PRAGMA schema_version = {version + 1}"))
    connection.execute(sa.text("PRAGMA writable_schema = OFF"))
