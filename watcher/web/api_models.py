"""What the API says and takes, as it is described in its OpenAPI document. SI, epoch seconds."""

import math
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from watcher.alerts.wording.reasons import Speaker
from watcher.jobs.watch import sprayed_s
from watcher.judge.ranking import FieldNow
from watcher.judge.reasons import Reason
from watcher.judge.status import Status
from watcher.store.tables import Job, JobEvent

StatusWord = Literal["unsuitable", "unknown", "marginal", "suitable"]
StandWord = Literal["broken", "unknown", "near", "holds"]
JobStateWord = Literal["running", "paused", "finished", "abandoned"]


class Told(BaseModel):
    """Something the API says."""

    model_config = ConfigDict(use_attribute_docstrings=True)


class Wrong(Told):
    """Why a request was not answered."""

    wrong: str
    """What is wrong and, where it can be said, what would do."""


class LimitTold(Told):
    """How one limit stands."""

    limit: str
    stand: StandWord
    value: float | None
    """As the limit's quantity is held: m/s, °C, K, %, s; null where it is not known."""
    low: float | None
    high: float | None
    origin: Literal["label", "law", "own"]
    headroom: float | None
    """Room left as a share of the limit's scale, negative when broken; null where unknown or
    without a bound."""
    neighbours: list[str]
    sentence: str

    @classmethod
    def of(cls, speaker: Speaker, field: str, reason: Reason) -> "LimitTold":
        return cls(
            limit=reason.limit.value,
            stand=_stand(reason),
            value=finite(reason.value),
            low=finite(reason.low),
            high=finite(reason.high),
            origin=reason.origin.value,
            headroom=finite(reason.headroom),
            neighbours=list(reason.neighbours),
            sentence=speaker.reason(field, reason),
        )


class FieldTold(Told):
    """One field now."""

    field: str
    status: StatusWord
    setup: str | None
    """The setup to use; where the field is not open, the one that comes closest."""
    binding: LimitTold
    duration_s: float
    share_done: float
    breaks_at: int | None
    can_wait_until: int | None
    opens_at: int | None

    @classmethod
    def of(cls, speaker: Speaker, seen: FieldNow) -> "FieldTold":
        return cls(
            field=seen.field,
            status=status_word(seen.status),
            setup=seen.setup,
            binding=LimitTold.of(speaker, seen.field, seen.binding),
            duration_s=seen.duration_s,
            share_done=seen.share_done,
            breaks_at=seen.breaks_at,
            can_wait_until=seen.can_wait_until,
            opens_at=seen.opens_at,
        )


class RankingTold(Told):
    """What to spray now in which order, and the rest in the order they open."""

    at: int
    judged_at: int | None
    old: bool
    """Whether the watch has not judged for so long that this must not be relied on."""
    caution: str
    spray: list[FieldTold]
    rest: list[FieldTold]


class ReasonsTold(Told):
    """Every limit of one field with one setup now, the binding one first."""

    at: int
    field: str
    setup: str
    status: StatusWord
    limits: list[LimitTold]


class HourTold(Told):
    """What a field is from one time on, with its best setup."""

    at: int
    status: StatusWord
    wind_m_s: float | None
    """At boom height."""
    gust_m_s: float | None


class ForecastTold(Told):
    """The hours ahead of one field."""

    field: str
    setup: str
    hours: list[HourTold]


class JobTold(Told):
    """A spraying job."""

    id: int
    field: str
    setup: str
    sprayer: str
    state: JobStateWord
    started_at: int
    ended_at: int | None
    planned_s: float
    sprayed_s: float
    note: str

    @classmethod
    def of(cls, job: Job, now: int) -> "JobTold":
        return cls(
            id=job.id,
            field=job.field,
            setup=job.setup,
            sprayer=job.sprayer,
            state=job.state,
            started_at=job.started_at,
            ended_at=job.ended_at,
            planned_s=job.planned_s,
            sprayed_s=sprayed_s(job, now if job.ended_at is None else job.ended_at),
            note=job.note,
        )


class EventTold(Told):
    """One step of a job."""

    at: int
    what: str

    @classmethod
    def of(cls, event: JobEvent) -> "EventTold":
        return cls(at=event.at, what=event.what)


class JobWithEvents(JobTold):
    """A spraying job and what was done to it."""

    events: list[EventTold]


class SourceTold(Told):
    """How a source is."""

    name: str
    age_s: int | None
    stale: bool
    failures_in_a_row: int
    attribution: str
    distrusted: list[str]


class HealthTold(Told):
    """How the watch is."""

    well: bool
    at: int
    judged_at: int | None
    sources: list[SourceTold]
    waiting_messages: int
    oldest_waiting_s: int | None


class Asked(BaseModel):
    """Something the API is asked for."""

    model_config = ConfigDict(extra="forbid", use_attribute_docstrings=True)


_Name = Annotated[str, Field(min_length=1, max_length=60)]
_Note = Annotated[str, Field(max_length=500)]


class StartAsked(Asked):
    """A job to start."""

    field: _Name
    setup: _Name


class SetupAsked(Asked):
    """The setup a job goes on with."""

    setup: _Name


class NoteAsked(Asked):
    """A remark for the record."""

    note: _Note = ""


class TakenTold(Told):
    """What became of a station's readings."""

    taken: int
    new: int


def status_word(status: Status) -> StatusWord:
    words: dict[Status, StatusWord] = {
        Status.UNSUITABLE: "unsuitable",
        Status.UNKNOWN: "unknown",
        Status.MARGINAL: "marginal",
        Status.SUITABLE: "suitable",
    }
    return words[status]


def _stand(reason: Reason) -> StandWord:
    words: list[StandWord] = ["broken", "unknown", "near", "holds"]
    return words[reason.stand]


def finite(value: float) -> float | None:
    """JSON knows neither NaN nor infinity."""
    return value if math.isfinite(value) else None
