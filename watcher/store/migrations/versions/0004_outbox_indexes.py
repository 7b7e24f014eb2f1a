"""Indexes for the outbox: its next message and its receipts are found without reading it all."""

from alembic import op

revision = "0004"
down_revision = "0003"

_INDEXES = (
    ("recipient", "state", "urgent", "due_at", "id"),
    ("recipient", "sent_at"),
    ("about", "created_at"),
    ("created_at",),
    ("acknowledged_at",),
)


def upgrade() -> None:
    """Add the indexes."""
    for columns in _INDEXES:
        op.create_index(f"ix_message_{'_'.join(columns)}", "message", list(columns))


def downgrade() -> None:
    """Take the indexes away."""
    for columns in _INDEXES:
        op.drop_index(f"ix_message_{'_'.join(columns)}", "message")
