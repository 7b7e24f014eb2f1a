"""What is remembered, as tables. Times are epoch seconds; weather is SI, NULL for missing."""

from typing import Any, Literal, cast, get_args

from sqlalchemy import (
    JSON,
    BigInteger,
    Enum,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    UniqueConstraint,
    text,
)
from sqlalchemy import Table as TableOfRows
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from watcher.store.seal import seal

SourceState = Literal["unknown", "answering", "failing"]
JobState = Literal["running", "paused", "finished", "abandoned"]
MessageState = Literal["waiting", "sending", "sent", "failed", "expired"]
ConditionState = Literal["raised", "cleared"]


def _one_of(name: str, words: Any) -> Enum:
    """Return a text column type that takes these words only."""
    return Enum(*get_args(words), name=name, native_enum=False, create_constraint=True, length=16)


# None is SQL NULL. JSONB because PostgreSQL cannot compare plain JSON.
_JSON = JSON(none_as_null=True).with_variant(JSONB(none_as_null=True), "postgresql")


class Table(DeclarativeBase):
    """Base of every table."""

    # Every constraint has a name on both databases, so that a later migration can drop it.
    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012  # SQLAlchemy wants a plain class attribute
        int: BigInteger(),
        dict[str, Any]: _JSON,
        list[Any]: _JSON,
        SourceState: _one_of("state", SourceState),
        JobState: _one_of("state", JobState),
        MessageState: _one_of("state", MessageState),
        ConditionState: _one_of("state", ConditionState),
    }


def _numbered() -> Mapped[int]:
    """Return a key the database counts up; SQLite does so only for plain INTEGER."""
    return mapped_column(Integer, primary_key=True)


class _SiteColumns:
    """Where and how high weather was measured or is forecast for: ``weather.series.Site``."""

    latitude: Mapped[float]
    longitude: Mapped[float]
    elevation_m: Mapped[float]
    wind_height_m: Mapped[float]
    temp_height_m: Mapped[float]
    temp_upper_height_m: Mapped[float | None]


class _WeatherColumns:
    """One column a quantity: ``weather.series.QUANTITIES``."""

    wind_m_s: Mapped[float | None]
    gust_m_s: Mapped[float | None]
    wind_from_deg: Mapped[float | None]
    wind_spread_deg: Mapped[float | None]
    temp_c: Mapped[float | None]
    temp_upper_c: Mapped[float | None]
    humidity_pct: Mapped[float | None]
    dew_point_c: Mapped[float | None]
    pressure_pa: Mapped[float | None]
    rain_mm_h: Mapped[float | None]
    rain_chance_pct: Mapped[float | None]
    cloud_pct: Mapped[float | None]
    solar_w_m2: Mapped[float | None]
    net_w_m2: Mapped[float | None]


class StationSite(_SiteColumns, Table):
    """Where a source measures, as it last said."""

    __tablename__ = "site"

    source: Mapped[str] = mapped_column(primary_key=True)


class Observation(_WeatherColumns, Table):
    """One reading of one source, raw. Kept in key order on disk: it is read by time range."""

    __tablename__ = "observation"
    __table_args__ = ({"sqlite_with_rowid": False},)

    source: Mapped[str] = mapped_column(primary_key=True)
    time: Mapped[int] = mapped_column(primary_key=True)
    flags: Mapped[dict[str, Any] | None]  # quantity -> bits of sources.base.Flag, findings only
    received_at: Mapped[int]


class WeatherBin(_WeatherColumns, Table):
    """Readings of one source over a bin of the clock: ``weather.bins.Bins``."""

    __tablename__ = "weather_bin"
    __table_args__ = ({"sqlite_with_rowid": False},)

    source: Mapped[str] = mapped_column(primary_key=True)
    width_s: Mapped[int] = mapped_column(primary_key=True)
    time: Mapped[int] = mapped_column(primary_key=True)
    readings: Mapped[int]
    # quantity -> [known, doubted], only where not simply every reading gave a good value
    counts: Mapped[dict[str, Any] | None]
    east_m_s: Mapped[float | None]
    north_m_s: Mapped[float | None]
    temp_low_c: Mapped[float | None]
    temp_high_c: Mapped[float | None]
    rain_mm: Mapped[float | None]


class StaleHour(Table):
    """An hour of readings whose bins are not made, or no longer right."""

    __tablename__ = "stale_hour"
    __table_args__ = ({"sqlite_with_rowid": False},)

    source: Mapped[str] = mapped_column(primary_key=True)
    time: Mapped[int] = mapped_column(primary_key=True)


class IssuedForecast(_SiteColumns, Table):
    """A forecast as it was issued; never changed afterwards, so it can be verified."""

    __tablename__ = "forecast"
    __table_args__ = (UniqueConstraint("source", "issued_at"),)

    id: Mapped[int] = _numbered()
    source: Mapped[str]
    issued_at: Mapped[int]
    fetched_at: Mapped[int]
    attribution: Mapped[str]


class ForecastHour(_WeatherColumns, Table):
    """One time step of an issued forecast."""

    __tablename__ = "forecast_hour"
    __table_args__ = ({"sqlite_with_rowid": False},)

    forecast_id: Mapped[int] = mapped_column(Integer, ForeignKey("forecast.id"), primary_key=True)
    time: Mapped[int] = mapped_column(primary_key=True)


class SourceHealth(Table):
    """How a source is doing; ``why`` is its last error while it is failing."""

    __tablename__ = "source_health"

    source: Mapped[str] = mapped_column(primary_key=True)
    state: Mapped[SourceState]
    asked_at: Mapped[int | None]
    answered_at: Mapped[int | None]
    newest_reading_at: Mapped[int | None]
    failures_in_a_row: Mapped[int] = mapped_column(Integer)
    why: Mapped[str | None]


class StatusChange(Table):
    """A field's status became another one, with the reasons."""

    __tablename__ = "status_change"
    __table_args__ = (Index(None, "field", "at"),)

    id: Mapped[int] = _numbered()
    at: Mapped[int]
    field: Mapped[str]
    setup: Mapped[str | None]
    status: Mapped[str]
    reasons: Mapped[list[Any]]


_STILL_OPEN = text("ended_at IS NULL")


class Job(Table):
    """A spraying job. ``paused_s`` is the sum of its past pauses."""

    __tablename__ = "job"
    __table_args__ = (
        # One open job a field and a sprayer, whoever starts them and from wherever.
        *(
            Index(
                f"uq_job_open_{column}",
                column,
                unique=True,
                sqlite_where=_STILL_OPEN,
                postgresql_where=_STILL_OPEN,
            )
            for column in ("field", "sprayer")
        ),
    )

    id: Mapped[int] = _numbered()
    field: Mapped[str]
    setup: Mapped[str]
    sprayer: Mapped[str]
    state: Mapped[JobState]
    started_at: Mapped[int]
    planned_s: Mapped[float]
    paused_s: Mapped[int]
    paused_at: Mapped[int | None]
    ended_at: Mapped[int | None]
    note: Mapped[str]


class JobEvent(Table):
    """What was done to a job, in order."""

    __tablename__ = "job_event"

    id: Mapped[int] = _numbered()
    job_id: Mapped[int] = mapped_column(Integer, ForeignKey("job.id"), index=True)
    at: Mapped[int]
    what: Mapped[str]
    detail: Mapped[dict[str, Any]]


class Message(Table):
    """The outbox: one row a recipient, written with the change that caused it."""

    __tablename__ = "message"
    __table_args__ = (
        Index(None, "state", "due_at"),
        Index(None, "recipient", "state", "urgent", "due_at", "id"),
        Index(None, "recipient", "sent_at"),
        Index(None, "about", "created_at"),
        Index(None, "created_at"),
        Index(None, "acknowledged_at"),
    )

    id: Mapped[int] = _numbered()
    key: Mapped[str] = mapped_column(unique=True)  # the same news is written once
    short_id: Mapped[str] = mapped_column(index=True)  # what the reader sees and answers with
    about: Mapped[str]
    kind: Mapped[str]
    recipient: Mapped[str]
    tag: Mapped[str]
    urgent: Mapped[bool]
    title: Mapped[str]
    body: Mapped[str]
    created_at: Mapped[int]
    caused_at: Mapped[int]  # time of the weather that caused it
    due_at: Mapped[int]
    expires_at: Mapped[int | None]
    state: Mapped[MessageState]
    attempts: Mapped[int] = mapped_column(Integer)
    lease_until: Mapped[int | None]
    last_error: Mapped[str | None]
    sent_at: Mapped[int | None]
    acknowledged_at: Mapped[int | None]
    acknowledged_by: Mapped[str | None]


class Condition(Table):
    """Something worth an alert about a subject: raised since when, and when it was said."""

    __tablename__ = "condition"

    subject: Mapped[str] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(primary_key=True)
    state: Mapped[ConditionState]
    since: Mapped[int]
    said_at: Mapped[int | None]
    cleared_at: Mapped[int | None]
    detail: Mapped[dict[str, Any]]


class WatchRun(Table):
    """One life of the watch, to tell from when to when it was down."""

    __tablename__ = "watch_run"

    id: Mapped[int] = _numbered()
    started_at: Mapped[int]
    seen_at: Mapped[int]
    stopped_at: Mapped[int | None]

    @property
    def last_alive_at(self) -> int:
        """When it is last known to have watched."""
        return self.seen_at if self.stopped_at is None else self.stopped_at


class RecordEntry(Table):
    """One entry of the application records: a link of one chain through all of them.

    ``content`` is canonical JSON, kept as text so that what is read is byte for byte what was
    hashed. See ``watcher.records.chain``.
    """

    __tablename__ = "record_entry"

    number: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    job_id: Mapped[int] = mapped_column(Integer, ForeignKey("job.id"), index=True)
    kind: Mapped[str]
    at: Mapped[int]
    by: Mapped[str]
    content: Mapped[str]
    previous: Mapped[str] = mapped_column(unique=True)  # two entries never follow the same one
    hash: Mapped[str] = mapped_column(unique=True)


seal(cast("TableOfRows", RecordEntry.__table__))
