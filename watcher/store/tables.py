"""What is remembered, as tables. Times are epoch seconds; weather is SI, NULL for missing."""

from typing import Any, Literal, cast, get_args

from sqlalchemy import (
    JSON,
    BigInteger,
    Enum,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    UniqueConstraint,
    text,
)
from sqlalchemy import Table as TableOfRows
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from watcher.store.farm_key import FARM, next_number, of_statement
from watcher.store.row_security import secure
from watcher.store.seal import seal
from watcher.weather.quantities import COLUMNS

SourceState = Literal["unknown", "answering", "failing"]
RefusedFor = Literal["token", "body"]
JobState = Literal["running", "paused", "finished", "abandoned"]
MessageState = Literal["waiting", "sending", "sent", "failed", "expired"]
ConditionState = Literal["raised", "cleared"]
ChanceOutcome = Literal["held", "broken", "unknown"]


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
        RefusedFor: _one_of("what", RefusedFor),
        JobState: _one_of("state", JobState),
        MessageState: _one_of("state", MessageState),
        ConditionState: _one_of("state", ConditionState),
        ChanceOutcome: _one_of("outcome", ChanceOutcome),
    }


class FarmTable(Table):
    """Base of every table of a farm's own: each row is of one farm, and of no other's concern.

    Nobody says with a row or a query which farm that is: the session does (``store.session``).
    """

    __abstract__ = True

    farm: Mapped[int] = mapped_column(
        Integer, primary_key=True, autoincrement=False, default=of_statement, sort_order=-2
    )


def _numbered() -> Mapped[int]:
    """Return a key that counts from 1 in each farm, as if it were alone."""
    return mapped_column(
        Integer, primary_key=True, autoincrement=False, default=next_number, sort_order=-1
    )


def own_columns(table: type[FarmTable]) -> list[str]:
    """Return the names of a table's columns but the farm, which is never moved with a row."""
    return [column.name for column in table.__table__.columns if column.name != FARM]


def _of_same_farm(column: str, table: str) -> ForeignKeyConstraint:
    """Return that a column is the number of a row of another table, of the same farm."""
    return ForeignKeyConstraint(["farm", column], [f"{table}.farm", f"{table}.id"])


def _added() -> Mapped[Any]:
    """Return a column that came later, which stands after all that were there."""
    return mapped_column(sort_order=1)


class Farm(Table):
    """A farm whose log this is, or one of those."""

    __tablename__ = "farm"

    id: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    name: Mapped[str] = mapped_column(unique=True)


class _SiteColumns:
    """Where and how high weather was measured or is forecast for: ``weather.series.Site``."""

    latitude: Mapped[float]
    longitude: Mapped[float]
    elevation_m: Mapped[float | None]  # feeds do not always say
    wind_height_m: Mapped[float]
    temp_height_m: Mapped[float]
    temp_upper_height_m: Mapped[float | None]


class _WeatherColumns:
    """One column a quantity, of the name it has in ``weather.quantities.CATALOGUE``."""

    __annotations__ = dict.fromkeys(COLUMNS, Mapped[float | None])


class StationSite(_SiteColumns, FarmTable):
    """Where a source measures, as it last said."""

    __tablename__ = "site"

    source: Mapped[str] = mapped_column(primary_key=True)


class Observation(_WeatherColumns, FarmTable):
    """One reading of one source, raw. Kept in key order on disk: it is read by time range."""

    __tablename__ = "observation"
    __table_args__ = ({"sqlite_with_rowid": False},)

    source: Mapped[str] = mapped_column(primary_key=True)
    time: Mapped[int] = mapped_column(primary_key=True)
    flags: Mapped[dict[str, Any] | None]  # quantity -> bits of sources.base.Flag, findings only
    # quantity -> [least, most], of what is only bounded
    bounds: Mapped[dict[str, Any] | None] = _added()
    received_at: Mapped[int]


class WeatherBin(_WeatherColumns, FarmTable):
    """Readings of one source over a bin of the clock: ``weather.bins.Bins``."""

    __tablename__ = "weather_bin"
    __table_args__ = ({"sqlite_with_rowid": False},)

    source: Mapped[str] = mapped_column(primary_key=True)
    width_s: Mapped[int] = mapped_column(primary_key=True)
    time: Mapped[int] = mapped_column(primary_key=True)
    readings: Mapped[int]
    # quantity -> [known, doubted], only where not simply every reading gave a good value
    counts: Mapped[dict[str, Any] | None]
    bounds: Mapped[dict[str, Any] | None] = _added()  # as of an observation
    east_m_s: Mapped[float | None]
    north_m_s: Mapped[float | None]
    temp_low_c: Mapped[float | None]
    temp_high_c: Mapped[float | None]
    rain_mm: Mapped[float | None]


class StaleHour(FarmTable):
    """An hour of readings whose bins are not made, or no longer right."""

    __tablename__ = "stale_hour"
    __table_args__ = ({"sqlite_with_rowid": False},)

    source: Mapped[str] = mapped_column(primary_key=True)
    time: Mapped[int] = mapped_column(primary_key=True)


class IssuedForecast(_SiteColumns, FarmTable):
    """A forecast as it was issued; never changed afterwards, so it can be verified."""

    __tablename__ = "forecast"
    __table_args__ = (UniqueConstraint("farm", "source", "issued_at"),)

    id: Mapped[int] = _numbered()
    source: Mapped[str]
    issued_at: Mapped[int]
    fetched_at: Mapped[int]
    attribution: Mapped[str]
    # ``fetched_at`` is when the feed stood by it last
    first_fetched_at: Mapped[int | None] = _added()
    run_at: Mapped[int | None] = _added()  # when the model ran, where the feed says it
    model: Mapped[str | None] = _added()


class ForecastHour(_WeatherColumns, FarmTable):
    """One time step of an issued forecast."""

    __tablename__ = "forecast_hour"
    __table_args__ = (_of_same_farm("forecast_id", "forecast"), {"sqlite_with_rowid": False})

    forecast_id: Mapped[int] = mapped_column(Integer, primary_key=True)
    time: Mapped[int] = mapped_column(primary_key=True)
    bounds: Mapped[dict[str, Any] | None] = _added()  # as of an observation


class ForecastValues(FarmTable):
    """One quantity of an issued forecast as the feed gave it: not shifted, not spread.

    ``starts`` and ``intervals`` are epoch seconds and seconds, one for each of ``values`` (SI, null
    for missing); an interval of 0 is a moment. ``statistic`` is a word of
    ``sources.base.Statistic``.
    """

    __tablename__ = "forecast_values"
    __table_args__ = (_of_same_farm("forecast_id", "forecast"), {"sqlite_with_rowid": False})

    forecast_id: Mapped[int] = mapped_column(Integer, primary_key=True)
    quantity: Mapped[str] = mapped_column(primary_key=True)
    statistic: Mapped[str] = mapped_column(primary_key=True)
    starts: Mapped[list[Any]]
    intervals: Mapped[list[Any]]
    values: Mapped[list[Any]]


class RainGauge(FarmTable):
    """How a station's rain gauge stood at its newest reading."""

    __tablename__ = "rain_gauge"
    __table_args__ = ({"sqlite_with_rowid": False},)

    source: Mapped[str] = mapped_column(primary_key=True)
    time: Mapped[int]
    mm: Mapped[float]


class ForecastError(_SiteColumns, FarmTable):
    """What a feed foretold and a station measured, by hours from a moment: ``store.chances``.

    Kept for good, with the station's site as it was then, and the model where the feed says it:
    of another one it tells nothing.
    ``measured`` is NULL until all of its hours have passed.
    """

    __tablename__ = "forecast_error"
    __table_args__ = ({"sqlite_with_rowid": False},)

    feed: Mapped[str] = mapped_column(primary_key=True)
    station: Mapped[str] = mapped_column(primary_key=True)
    at: Mapped[int] = mapped_column(primary_key=True)
    foretold: Mapped[bytes]
    measured: Mapped[bytes | None]
    model: Mapped[str | None] = _added()


class ChanceSaid(FarmTable):
    """The chance that was said for a job, and whether it would have held. Kept for good."""

    __tablename__ = "chance_said"
    __table_args__ = (Index(None, "farm", "ends_at"), {"sqlite_with_rowid": False})

    field: Mapped[str] = mapped_column(primary_key=True)
    setup: Mapped[str] = mapped_column(primary_key=True)
    said_at: Mapped[int] = mapped_column(primary_key=True)
    starts_at: Mapped[int] = mapped_column(primary_key=True)
    ends_at: Mapped[int]
    chance: Mapped[float]
    past_forecasts: Mapped[int]
    foretold_open: Mapped[bool]  # whether the forecast, taken as truth, held
    outcome: Mapped[ChanceOutcome | None]  # NULL until it is over
    ended_by: Mapped[str | None]  # the limit that broke first


class SourceHealth(FarmTable):
    """How a source is doing; ``why`` is its last error while it is failing, else what of
    its last answer is not believed."""

    __tablename__ = "source_health"

    source: Mapped[str] = mapped_column(primary_key=True)
    state: Mapped[SourceState]
    asked_at: Mapped[int | None]
    answered_at: Mapped[int | None]
    newest_reading_at: Mapped[int | None]
    failures_in_a_row: Mapped[int] = mapped_column(Integer)
    why: Mapped[str | None]
    ignored: Mapped[dict[str, Any] | None]  # names it sends that are not read -> when last


class RefusedPost(FarmTable):
    """Posts in a station's name that were refused in an hour: one row, however many they were."""

    __tablename__ = "refused_post"
    __table_args__ = ({"sqlite_with_rowid": False},)

    source: Mapped[str] = mapped_column(primary_key=True)  # "" where no station has the name
    what: Mapped[RefusedFor] = mapped_column(primary_key=True)
    hour: Mapped[int] = mapped_column(primary_key=True)
    count: Mapped[int]
    last_at: Mapped[int]
    why: Mapped[str]  # of the last one
    addresses: Mapped[list[Any]]  # a few of those they came from, the last one last


class StatusChange(FarmTable):
    """A field's status became another one, with the reasons."""

    __tablename__ = "status_change"
    __table_args__ = (Index(None, "farm", "field", "at"),)

    id: Mapped[int] = _numbered()
    at: Mapped[int]
    field: Mapped[str]
    setup: Mapped[str | None]
    status: Mapped[str]
    reasons: Mapped[list[Any]]


_STILL_OPEN = text("ended_at IS NULL")


class Job(FarmTable):
    """A spraying job. ``paused_s`` is the sum of its past pauses."""

    __tablename__ = "job"
    __table_args__ = (
        # One open job a field and a sprayer, whoever starts them and from wherever.
        *(
            Index(
                f"uq_job_open_{column}",
                "farm",
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
    done_share: Mapped[float | None]  # of the field, once it is ended; NULL where nobody said


class JobStep(FarmTable):
    """A step of a job as somebody asked for it. The job and its events are what they make of it."""

    __tablename__ = "job_step"
    __table_args__ = (
        _of_same_farm("job_id", "job"),
        UniqueConstraint("farm", "by", "key"),
        Index(None, "farm", "job_id"),
    )

    id: Mapped[int] = _numbered()
    job_id: Mapped[int | None] = mapped_column(Integer)
    name: Mapped[str]
    by: Mapped[str]
    key: Mapped[str]  # the same key from the same one is the same step
    at: Mapped[int]  # when it was tapped
    received_at: Mapped[int]
    asked: Mapped[dict[str, Any]]
    detail: Mapped[dict[str, Any]]  # what it meant by the farm file of then
    refused: Mapped[str | None]  # why a start started nothing


class JobEvent(FarmTable):
    """What was done to a job, in order."""

    __tablename__ = "job_event"
    __table_args__ = (_of_same_farm("job_id", "job"), Index(None, "farm", "job_id"))

    id: Mapped[int] = _numbered()
    job_id: Mapped[int] = mapped_column(Integer)
    at: Mapped[int]
    what: Mapped[str]
    detail: Mapped[dict[str, Any]]


class Outgoing(FarmTable):
    """The outbox: one row a recipient, written with the change that caused it."""

    __tablename__ = "message"
    __table_args__ = (
        UniqueConstraint("farm", "key"),
        Index(None, "farm", "short_id"),
        Index(None, "farm", "state", "due_at"),
        Index(None, "farm", "recipient", "state", "urgent", "due_at", "id"),
        Index(None, "farm", "recipient", "sent_at"),
        Index(None, "farm", "about", "created_at"),
        Index(None, "farm", "created_at"),
        Index(None, "farm", "acknowledged_at"),
    )

    id: Mapped[int] = _numbered()
    key: Mapped[str]  # the same news is written once
    short_id: Mapped[str]  # what the reader sees and answers with
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
    shown_at: Mapped[int | None] = _added()  # as a device that was pushed to says


class Condition(FarmTable):
    """Something worth an alert about a subject: raised since when, and when it was said."""

    __tablename__ = "condition"

    subject: Mapped[str] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(primary_key=True)
    state: Mapped[ConditionState]
    since: Mapped[int]
    said_at: Mapped[int | None]
    cleared_at: Mapped[int | None]
    detail: Mapped[dict[str, Any]]


class DayPlanKept(FarmTable):
    """A plan of the day as it was made, and what it was made of."""

    __tablename__ = "day_plan"
    __table_args__ = (Index(None, "farm", "made_at"),)

    id: Mapped[int] = _numbered()
    made_at: Mapped[int]
    content: Mapped[dict[str, Any]]


class PlanSaid(FarmTable):
    """What somebody said of the plan of the day: what it is to be like, or yes to it."""

    __tablename__ = "plan_said"
    __table_args__ = (
        _of_same_farm("plan", "day_plan"),
        UniqueConstraint("farm", "by", "key"),
        Index(None, "farm", "what", "id"),
    )

    id: Mapped[int] = _numbered()
    what: Mapped[str]
    by: Mapped[str]
    key: Mapped[str]  # the same key from the same one is said once
    at: Mapped[int]
    content: Mapped[dict[str, Any]]
    plan: Mapped[int | None] = mapped_column(Integer)


class WatchRun(FarmTable):
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


class RecordEntry(FarmTable):
    """One entry of the application records: a link of one chain through all of them.

    ``content`` is canonical JSON, kept as text so that what is read is byte for byte what was
    hashed. See ``watcher.records.chain``.
    """

    __tablename__ = "record_entry"
    __table_args__ = (
        _of_same_farm("job_id", "job"),
        Index(None, "farm", "job_id"),
        # Two entries never follow the same one.
        UniqueConstraint("farm", "previous"),
        UniqueConstraint("farm", "hash"),
    )

    number: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    job_id: Mapped[int | None] = mapped_column(Integer)
    """None for what is of no job: the account of an incident."""
    kind: Mapped[str]
    at: Mapped[int]
    by: Mapped[str]
    content: Mapped[str]
    previous: Mapped[str]
    hash: Mapped[str]


seal(cast("TableOfRows", RecordEntry.__table__))
secure(table.__table__ for table in FarmTable.__subclasses__())
