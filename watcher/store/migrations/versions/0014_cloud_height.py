"""Height of the cloud base, in everything that holds weather."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"

_TABLES = ("observation", "weather_bin", "forecast_hour")


def upgrade() -> None:
    """Add the column; of what is there already nobody knows it."""
    for table in _TABLES:
        op.add_column(table, sa.Column("ceiling_m", sa.Double(), nullable=True))


def downgrade() -> None:
    """Drop it with what it holds."""
    for table in _TABLES:
        op.drop_column(table, "ceiling_m")
