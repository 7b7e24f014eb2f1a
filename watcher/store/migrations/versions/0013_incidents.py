"""Entries of no job in the chain of the records: accounts of incidents."""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"

_MUST, _MAY = "job_id INTEGER NOT NULL", "job_id INTEGER"


def upgrade() -> None:
    """Let the job be missing."""
    if op.get_bind().dialect.name == "sqlite":
        _rewrite(_MUST, _MAY)
    else:
        op.alter_column("record_entry", "job_id", nullable=True)


def downgrade() -> None:
    """Ask for a job again, which a log with accounts cannot."""
    connection = op.get_bind()
    if connection.scalar(sa.text("SELECT count(*) FROM record_entry WHERE job_id IS NULL")):
        raise ValueError("the log has accounts of incidents, which the tables before cannot hold")
    if connection.dialect.name == "sqlite":
        _rewrite(_MAY, _MUST)
    else:
        op.alter_column("record_entry", "job_id", nullable=False)


def _rewrite(old: str, new: str) -> None:
    """Change what SQLite holds the table to, as its manual says for this (ALTER TABLE, section 7).

    A copied table would lose what keeps its rows as they were written.
    """
    connection = op.get_bind()
    version = connection.scalar(sa.text("PRAGMA schema_version"))
    connection.execute(sa.text("PRAGMA writable_schema = ON"))
    connection.execute(
        sa.text(
            "UPDATE sqlite_master SET sql = replace(sql, :old, :new) "
            "WHERE type = 'table' AND name = 'record_entry'"
        ),
        {"old": old, "new": new},
    )
    connection.execute(sa.text(f"PRAGMA schema_version = {version + 1}"))
    connection.execute(sa.text("PRAGMA writable_schema = OFF"))
