"""Application records: a chain of entries that nobody changes afterwards."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

_IN_FILE = (
    """CREATE TRIGGER record_entry_no_update BEFORE UPDATE ON record_entry
BEGIN SELECT RAISE(ABORT, 'records are append-only: write a correction'); END""",
    """CREATE TRIGGER record_entry_no_delete BEFORE DELETE ON record_entry
BEGIN SELECT RAISE(ABORT, 'records are append-only: write a correction'); END""",
    """CREATE TRIGGER record_entry_no_replace BEFORE INSERT ON record_entry
WHEN EXISTS (SELECT 1 FROM record_entry
WHERE number = NEW.number OR previous = NEW.previous OR hash = NEW.hash)
BEGIN SELECT RAISE(ABORT, 'records are append-only: write a correction'); END""",
)
_ON_SERVER = (
    """CREATE OR REPLACE FUNCTION record_entry_refuse() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'records are append-only: write a correction'; END $$""",
    """CREATE TRIGGER record_entry_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON record_entry
FOR EACH STATEMENT EXECUTE FUNCTION record_entry_refuse()""",
)


def upgrade() -> None:
    """Create the table of entries and what makes it append-only."""
    op.create_table(
        "record_entry",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("content", sa.String(), nullable=False),
        sa.Column("previous", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_record_entry_job_id"),
        sa.PrimaryKeyConstraint("number"),
        sa.UniqueConstraint("previous", name="uq_record_entry_previous"),
        sa.UniqueConstraint("hash", name="uq_record_entry_hash"),
    )
    op.create_index("ix_record_entry_job_id", "record_entry", ["job_id"])
    on_server = op.get_bind().dialect.name == "postgresql"
    for statement in _ON_SERVER if on_server else _IN_FILE:
        op.execute(statement)
