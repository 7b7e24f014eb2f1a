"""What stations and feeds say beside plain values: bounds, rain gauges, names not read, and how a
forecast's values were given.
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0010"
down_revision = "0009"

_BOUNDED = ("observation", "forecast_hour", "weather_bin")


def _json() -> sa.JSON:
    plain = sa.JSON(none_as_null=True)
    return plain.with_variant(postgresql.JSONB(none_as_null=True), "postgresql")


def upgrade() -> None:
    """Add columns that may be empty, and two tables."""
    for table in _BOUNDED:
        op.add_column(table, sa.Column("bounds", _json(), nullable=True))
    op.add_column("source_health", sa.Column("ignored", _json(), nullable=True))
    op.add_column("forecast", sa.Column("first_fetched_at", sa.BigInteger(), nullable=True))
    op.add_column("forecast", sa.Column("run_at", sa.BigInteger(), nullable=True))
    op.add_column("forecast", sa.Column("model", sa.String(), nullable=True))
    op.create_table(
        "rain_gauge",
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("mm", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("source", name="pk_rain_gauge"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "forecast_values",
        sa.Column("forecast_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.String(), nullable=False),
        sa.Column("statistic", sa.String(), nullable=False),
        sa.Column("starts", _json(), nullable=False),
        sa.Column("intervals", _json(), nullable=False),
        sa.Column("values", _json(), nullable=False),
        sa.ForeignKeyConstraint(
            ["forecast_id"], ["forecast.id"], name="fk_forecast_values_forecast_id"
        ),
        sa.PrimaryKeyConstraint("forecast_id", "quantity", "statistic", name="pk_forecast_values"),
        sqlite_with_rowid=False,
    )


def downgrade() -> None:
    """Drop them."""
    op.drop_table("forecast_values")
    op.drop_table("rain_gauge")
    for table, column in (
        ("forecast", "model"),
        ("forecast", "first_fetched_at"),
        ("forecast", "run_at"),
        ("source_health", "ignored"),
        *((table, "bounds") for table in _BOUNDED),
    ):
        op.drop_column(table, column)
