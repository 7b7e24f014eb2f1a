"""Which model stood behind a forecast whose errors are kept."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"


def upgrade() -> None:
    """Add the column; of what is there already nobody knows it."""
    op.add_column("forecast_error", sa.Column("model", sa.String(), nullable=True))


def downgrade() -> None:
    """Drop it with what it holds."""
    op.drop_column("forecast_error", "model")
