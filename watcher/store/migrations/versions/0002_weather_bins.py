"""Readings over ten minutes and hours, and which hours of them are still to be made."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import JSONB

revision = "0002"
down_revision = "0001"

_JSON = sa.JSON(none_as_null=True).with_variant(JSONB(none_as_null=True), "postgresql")
_QUANTITIES = (
    "wind_m_s",
    "gust_m_s",
    "wind_from_deg",
    "wind_spread_deg",
    "temp_c",
    "temp_upper_c",
    "humidity_pct",
    "dew_point_c",
    "pressure_pa",
    "rain_mm_h",
    "rain_chance_pct",
    "cloud_pct",
    "solar_w_m2",
    "net_w_m2",
)
_BESIDE = ("east_m_s", "north_m_s", "temp_low_c", "temp_high_c", "rain_mm")


def upgrade() -> None:
    """Create both; every hour that has readings already is still to be made."""
    op.create_table(
        "weather_bin",
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("width_s", sa.BigInteger(), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("readings", sa.BigInteger(), nullable=False),
        sa.Column("counts", _JSON, nullable=True),
        *(sa.Column(name, sa.Double(), nullable=True) for name in (*_BESIDE, *_QUANTITIES)),
        sa.PrimaryKeyConstraint("source", "width_s", "time"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "stale_hour",
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("source", "time"),
        sqlite_with_rowid=False,
    )
    op.execute(
        "INSERT INTO stale_hour (source, time) "
        "SELECT DISTINCT source, time / 3600 * 3600 FROM observation"
    )
