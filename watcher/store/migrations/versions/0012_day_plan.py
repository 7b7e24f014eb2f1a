"""Plans of the day, and what was said of them."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import JSONB

revision = "0012"
down_revision = "0011"
_JSON = sa.JSON(none_as_null=True).with_variant(JSONB(none_as_null=True), "postgresql")


def upgrade() -> None:
    """Create the tables."""
    op.create_table(
        "day_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.BigInteger(), nullable=False),
        sa.Column("content", _JSON, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_day_plan"),
    )
    op.create_index("ix_day_plan_made_at", "day_plan", ["made_at"])
    op.create_table(
        "plan_said",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("content", _JSON, nullable=False),
        sa.Column("plan", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_plan_said"),
        sa.ForeignKeyConstraint(["plan"], ["day_plan.id"], name="fk_plan_said_plan"),
        sa.UniqueConstraint("by", "key", name="uq_plan_said_by_key"),
    )
    op.create_index("ix_plan_said_what_id", "plan_said", ["what", "id"])


def downgrade() -> None:
    """Drop them."""
    op.drop_table("plan_said")
    op.drop_table("day_plan")
