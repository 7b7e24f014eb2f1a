"""Posts in a station's name that were refused, counted by the hour."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Create the table."""
    plain = sa.JSON(none_as_null=True)
    json = plain.with_variant(postgresql.JSONB(none_as_null=True), "postgresql")
    op.create_table(
        "refused_post",
        sa.Column("source", sa.String(), nullable=False),
        sa.Column(
            "what",
            sa.Enum(
                "token", "body", name="what", native_enum=False, create_constraint=True, length=16
            ),
            nullable=False,
        ),
        sa.Column("hour", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.Column("last_at", sa.BigInteger(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("addresses", json, nullable=False),
        sa.PrimaryKeyConstraint("source", "what", "hour", name="pk_refused_post"),
        sqlite_with_rowid=False,
    )


def downgrade() -> None:
    """Drop the table."""
    op.drop_table("refused_post")
