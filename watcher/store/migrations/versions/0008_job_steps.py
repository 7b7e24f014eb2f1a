"""Every step of a job as it was asked for, with its key and its own time."""

import json
from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0008"
down_revision = "0007"

_STEP_OF = {
    "started": "start",
    "paused": "pause",
    "resumed": "resume",
    "setup changed": "setup",
    "finished": "finish",
    "abandoned": "abandon",
}


def upgrade() -> None:
    """Create the table, and fill it with the steps of the jobs there are."""
    plain = sa.JSON(none_as_null=True)
    json_type = plain.with_variant(postgresql.JSONB(none_as_null=True), "postgresql")
    op.add_column("job", sa.Column("done_share", sa.Double(), nullable=True))
    table = op.create_table(
        "job_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("received_at", sa.BigInteger(), nullable=False),
        sa.Column("asked", json_type, nullable=False),
        sa.Column("detail", json_type, nullable=False),
        sa.Column("refused", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_job_step"),
        sa.UniqueConstraint("by", "key", name="uq_job_step_by_key"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_job_step_job_id"),
    )
    op.create_index("ix_job_step_job_id", "job_step", ["job_id"])
    steps = [_step(dict(row._mapping)) for row in op.get_bind().execute(_EVENTS)]
    if steps:
        op.bulk_insert(table, steps)


def downgrade() -> None:
    """Drop the table; jobs and their events stay."""
    op.drop_table("job_step")
    op.drop_column("job", "done_share")


_EVENTS = sa.text(
    "SELECT e.id, e.job_id, e.at, e.what, e.detail, j.planned_s FROM job_event e "
    "JOIN job j ON j.id = e.job_id WHERE e.what <> 'stood' ORDER BY e.id"
)


def _step(event: dict[str, Any]) -> dict[str, Any]:
    kept = event["detail"]
    kept = json.loads(kept) if isinstance(kept, str) else kept
    detail: dict[str, Any] = {"note": kept.get("note") or kept.get("why") or ""}
    if event["what"] == "started":
        # What later setups made of the plan is in it already.
        detail |= {
            "setup": kept["setup"],
            "sprayer": kept["sprayer"],
            "planned_s": event["planned_s"],
        }
    if event["what"] == "setup changed":
        detail["setup"] = kept["to"]
    return {
        "job_id": event["job_id"],
        "name": _STEP_OF[event["what"]],
        "by": "",
        "key": f"event {event['id']}",
        "at": event["at"],
        "received_at": event["at"],
        "asked": {},
        "detail": detail,
        "refused": None,
    }
