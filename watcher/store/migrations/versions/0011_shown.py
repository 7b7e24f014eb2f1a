"""When a device said that it had shown a message."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    """Add a column that may be empty."""
    op.add_column("message", sa.Column("shown_at", sa.BigInteger(), nullable=True))


def downgrade() -> None:
    """Drop it."""
    op.drop_column("message", "shown_at")
