"""The first tables."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import JSONB

revision = "0001"
down_revision = None

_JSON = sa.JSON(none_as_null=True).with_variant(JSONB(none_as_null=True), "postgresql")
_STILL_OPEN = sa.text("ended_at IS NULL")


def _one_of(*words: str) -> sa.Enum:
    return sa.Enum(*words, name="state", native_enum=False, create_constraint=True, length=16)


def _site_columns() -> list[sa.Column[float]]:
    names = ("latitude", "longitude", "elevation_m", "wind_height_m", "temp_height_m")
    return [
        *(sa.Column(name, sa.Double(), nullable=False) for name in names),
        sa.Column("temp_upper_height_m", sa.Double(), nullable=True),
    ]


def _weather_columns() -> list[sa.Column[float]]:
    names = (
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
    return [sa.Column(name, sa.Double(), nullable=True) for name in names]


def upgrade() -> None:
    """Create everything."""
    _weather()
    _farm_work()
    _alerts()
    _watch()


def _weather() -> None:
    op.create_table(
        "site",
        sa.Column("source", sa.String(), nullable=False),
        *_site_columns(),
        sa.PrimaryKeyConstraint("source"),
    )
    op.create_table(
        "observation",
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        sa.Column("flags", _JSON, nullable=True),
        sa.Column("received_at", sa.BigInteger(), nullable=False),
        *_weather_columns(),
        sa.PrimaryKeyConstraint("source", "time"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "forecast",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("issued_at", sa.BigInteger(), nullable=False),
        sa.Column("fetched_at", sa.BigInteger(), nullable=False),
        sa.Column("attribution", sa.String(), nullable=False),
        *_site_columns(),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("source", "issued_at", name="uq_forecast_source_issued_at"),
    )
    op.create_table(
        "forecast_hour",
        sa.Column("forecast_id", sa.Integer(), nullable=False),
        sa.Column("time", sa.BigInteger(), nullable=False),
        *_weather_columns(),
        sa.ForeignKeyConstraint(
            ["forecast_id"], ["forecast.id"], name="fk_forecast_hour_forecast_id"
        ),
        sa.PrimaryKeyConstraint("forecast_id", "time"),
        sqlite_with_rowid=False,
    )


def _farm_work() -> None:
    op.create_table(
        "status_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("field", sa.String(), nullable=False),
        sa.Column("setup", sa.String(), nullable=True),
        sa.Column("status", sa.String(), nullable=False),
        sa.Column("reasons", _JSON, nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_status_change_field_at", "status_change", ["field", "at"])
    op.create_table(
        "job",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("field", sa.String(), nullable=False),
        sa.Column("setup", sa.String(), nullable=False),
        sa.Column("sprayer", sa.String(), nullable=False),
        sa.Column("state", _one_of("running", "paused", "finished", "abandoned"), nullable=False),
        sa.Column("started_at", sa.BigInteger(), nullable=False),
        sa.Column("planned_s", sa.Double(), nullable=False),
        sa.Column("paused_s", sa.BigInteger(), nullable=False),
        sa.Column("paused_at", sa.BigInteger(), nullable=True),
        sa.Column("ended_at", sa.BigInteger(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(
        "uq_job_open_field",
        "job",
        ["field"],
        unique=True,
        sqlite_where=_STILL_OPEN,
        postgresql_where=_STILL_OPEN,
    )
    op.create_index(
        "uq_job_open_sprayer",
        "job",
        ["sprayer"],
        unique=True,
        sqlite_where=_STILL_OPEN,
        postgresql_where=_STILL_OPEN,
    )
    op.create_table(
        "job_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("detail", _JSON, nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_job_event_job_id"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_job_event_job_id", "job_event", ["job_id"])


def _alerts() -> None:
    op.create_table(
        "condition",
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("state", _one_of("raised", "cleared"), nullable=False),
        sa.Column("since", sa.BigInteger(), nullable=False),
        sa.Column("said_at", sa.BigInteger(), nullable=True),
        sa.Column("cleared_at", sa.BigInteger(), nullable=True),
        sa.Column("detail", _JSON, nullable=False),
        sa.PrimaryKeyConstraint("subject", "kind"),
    )
    op.create_table(
        "message",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("short_id", sa.String(), nullable=False),
        sa.Column("about", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("recipient", sa.String(), nullable=False),
        sa.Column("tag", sa.String(), nullable=False),
        sa.Column("urgent", sa.Boolean(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("created_at", sa.BigInteger(), nullable=False),
        sa.Column("caused_at", sa.BigInteger(), nullable=False),
        sa.Column("due_at", sa.BigInteger(), nullable=False),
        sa.Column("expires_at", sa.BigInteger(), nullable=True),
        sa.Column(
            "state", _one_of("waiting", "sending", "sent", "failed", "expired"), nullable=False
        ),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("lease_until", sa.BigInteger(), nullable=True),
        sa.Column("last_error", sa.String(), nullable=True),
        sa.Column("sent_at", sa.BigInteger(), nullable=True),
        sa.Column("acknowledged_at", sa.BigInteger(), nullable=True),
        sa.Column("acknowledged_by", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key", name="uq_message_key"),
    )
    op.create_index("ix_message_short_id", "message", ["short_id"])
    op.create_index("ix_message_state_due_at", "message", ["state", "due_at"])


def _watch() -> None:
    op.create_table(
        "source_health",
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("state", _one_of("unknown", "answering", "failing"), nullable=False),
        sa.Column("asked_at", sa.BigInteger(), nullable=True),
        sa.Column("answered_at", sa.BigInteger(), nullable=True),
        sa.Column("newest_reading_at", sa.BigInteger(), nullable=True),
        sa.Column("failures_in_a_row", sa.Integer(), nullable=False),
        sa.Column("why", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("source"),
    )
    op.create_table(
        "watch_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.BigInteger(), nullable=False),
        sa.Column("seen_at", sa.BigInteger(), nullable=False),
        sa.Column("stopped_at", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
