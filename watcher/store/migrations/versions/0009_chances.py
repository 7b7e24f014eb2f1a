"""What forecasts were wrong by, and the chances that were said with what came of them."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Create the tables."""
    op.create_table(
        "forecast_error",
        sa.Column("feed", sa.String(), nullable=False),
        sa.Column("station", sa.String(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("foretold", sa.LargeBinary(), nullable=False),
        sa.Column("measured", sa.LargeBinary(), nullable=True),
        sa.Column("latitude", sa.Double(), nullable=False),
        sa.Column("longitude", sa.Double(), nullable=False),
        sa.Column("elevation_m", sa.Double(), nullable=True),
        sa.Column("wind_height_m", sa.Double(), nullable=False),
        sa.Column("temp_height_m", sa.Double(), nullable=False),
        sa.Column("temp_upper_height_m", sa.Double(), nullable=True),
        sa.PrimaryKeyConstraint("feed", "station", "at", name="pk_forecast_error"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "chance_said",
        sa.Column("field", sa.String(), nullable=False),
        sa.Column("setup", sa.String(), nullable=False),
        sa.Column("said_at", sa.BigInteger(), nullable=False),
        sa.Column("starts_at", sa.BigInteger(), nullable=False),
        sa.Column("ends_at", sa.BigInteger(), nullable=False),
        sa.Column("chance", sa.Double(), nullable=False),
        sa.Column("past_forecasts", sa.BigInteger(), nullable=False),
        sa.Column("foretold_open", sa.Boolean(), nullable=False),
        sa.Column(
            "outcome",
            sa.Enum(
                "held",
                "broken",
                "unknown",
                name="outcome",
                native_enum=False,
                create_constraint=True,
                length=16,
            ),
            nullable=True,
        ),
        sa.Column("ended_by", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("field", "setup", "said_at", "starts_at", name="pk_chance_said"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_chance_said_ends_at", "chance_said", ["ends_at"])


def downgrade() -> None:
    """Drop the tables."""
    op.drop_table("chance_said")
    op.drop_table("forecast_error")
