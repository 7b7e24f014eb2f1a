"""Soil temperature and leaf wetness, in everything that holds weather."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"

_TABLES = ("observation", "weather_bin", "forecast_hour")
_COLUMNS = ("soil_temp_10cm_c", "leaf_wet_pct")


def upgrade() -> None:
    """Add the columns; of what is there already nobody knows them."""
    for table in _TABLES:
        for column in _COLUMNS:
            op.add_column(table, sa.Column(column, sa.Double(), nullable=True))


def downgrade() -> None:
    """Drop them with what they hold."""
    for table in _TABLES:
        for column in _COLUMNS:
            op.drop_column(table, column)
