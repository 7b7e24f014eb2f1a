"""What the API says and takes, as it is described in its OpenAPI document. SI, epoch seconds."""

import math
from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field

from watcher.farm.origin import Origin
from watcher.i18n.language import ENGLISH, Language
from watcher.i18n.message import Sentence
from watcher.jobs.commands import StepTaken
from watcher.jobs.queries import JobStory, JobView
from watcher.judge.best_starts import DayStarts
from watcher.judge.chances import FieldChance
from watcher.judge.ranking import FieldNow, Ranking
from watcher.judge.reasons import Reason
from watcher.judge.remedies import Remedy
from watcher.judge.start_check import Against
from watcher.limits.status import Status
from watcher.messages import day_plan, sources
from watcher.messages.chances import holds_line
from watcher.messages.reasons import Speaker
from watcher.messages.remedies import remedy_line
from watcher.messages.start import ASKS, obstacle_line
from watcher.messages.words import CAUTION
from watcher.planning.day_plan import PlanStep
from watcher.planning.kept_plan import PlanNow
from watcher.records.record import Record
from watcher.service.health import Health
from watcher.service.transactions import Posted
from watcher.source_view import SourceView
from watcher.weather.quantities import NAME_OF
from watcher.web.open_jobs import OpenJobViewModel

StatusWord = Literal["unsuitable", "unknown", "marginal", "suitable"]
StandWord = Literal["broken", "unknown", "near", "holds"]
StepOfJob = Literal["pause", "resume", "setup", "finish", "abandon", "seen", "reading", "change"]
RefusedWord = Literal["token", "body"]
JobStateWord = Literal["running", "paused", "finished", "abandoned"]


class ApiModel(BaseModel):
    """Something the API says."""

    model_config = ConfigDict(use_attribute_docstrings=True)


class WrongPart(ApiModel):
    """One part of a request that cannot be."""

    where: str
    wrong: str


class Wrong(ApiModel):
    """Why a request was not answered, as problem details (RFC 9457)."""

    type: Literal["about:blank"] = "about:blank"
    title: str
    status: int
    detail: str
    """What is wrong and, where it can be said, what would do."""
    wrong: str
    """The same as ``detail``."""
    mistakes: list[WrongPart] = []
    """Every part of the request that is not understood, where there are several."""


class ObstacleSchema(ApiModel):
    """A limit that stands against a start."""

    limit: str
    against: Against
    """Broken, unknown, an hour of the day that closes before the job ends, or a strip to leave."""
    origin: Origin
    """Whose the bound is."""
    at: int
    """From when: now, or later in the job."""
    sentence: str
    confirm: str
    """What ``confirm`` of the start names to say yes to it."""


class AsksFirst(Wrong):
    """A start that needs a plain yes first, as problem details (RFC 9457). Nothing has begun."""

    against: list[ObstacleSchema]

    @classmethod
    def of(
        cls, speaker: Speaker, field: str, taken: StepTaken, now: int, language: Language
    ) -> Self:
        detail = taken.text.render(language)
        return cls(
            wrong=detail,
            title=ASKS.render(language),
            status=409,
            detail=detail,
            against=[
                ObstacleSchema(
                    limit=one.reason.limit.value,
                    against=one.against,
                    origin=one.reason.origin,
                    at=one.at,
                    sentence=obstacle_line(speaker, field, one, now).render(language),
                    confirm=one.token,
                )
                for one in taken.obstacles
            ],
        )


class LimitSchema(ApiModel):
    """How one limit stands."""

    limit: str
    stand: StandWord
    value: float | None
    """As the limit's quantity is held: m/s, °C, K, %, s; null where it is not known."""
    low: float | None
    high: float | None
    origin: Origin
    """Whose the bound is that acted, or that is nearer."""
    low_origin: Origin | None
    """Whose each bound is; null where there is none."""
    high_origin: Origin | None
    headroom: float | None
    """Room left as a share of the limit's scale, negative when broken; null where unknown or
    without a bound."""
    neighbours: list[str]
    sentence: str

    @classmethod
    def of(cls, speaker: Speaker, field: str, reason: Reason, language: Language) -> "LimitSchema":
        return cls(
            limit=reason.limit.value,
            stand=_stand(reason),
            value=finite(reason.value),
            low=finite(reason.low),
            high=finite(reason.high),
            origin=reason.origin.value,
            low_origin=reason.low_origin,
            high_origin=reason.high_origin,
            headroom=finite(reason.headroom),
            neighbours=list(reason.neighbours),
            sentence=speaker.reason(field, reason).render(language),
        )


class ChangeSchema(ApiModel):
    """One thing to change."""

    kind: str
    name: str
    """The setup, product or field it leads to; empty for the others."""
    value: float | None
    """A boom's height in m, a speed in m/s, or until when to wait in epoch seconds."""
    passes: int
    neighbours: list[str]


class RemedySchema(ApiModel):
    """What would bring a field within its limits, what it gains and what it costs."""

    changes: list[ChangeSchema]
    until: int
    """Until when it holds, as far as that is known. [epoch s]"""
    whole: bool
    """Whether that is long enough for all that is left."""
    drift_before: float | None
    """Upper estimate at the worst neighbour as a share of what it stands; null: not judged."""
    drift_after: float | None
    loss_pct: float
    """More loss of weed control, in points."""
    takes_s: float
    left_m2: float
    """Ground left unsprayed."""
    sentence: str

    @classmethod
    def of(cls, speaker: Speaker, found: Remedy, now: int, language: Language) -> "RemedySchema":
        return cls(
            changes=[
                ChangeSchema(
                    kind=c.kind.value,
                    name=c.name,
                    value=finite(c.value),
                    passes=c.passes,
                    neighbours=list(c.neighbours),
                )
                for c in found.changes
            ],
            until=found.until,
            whole=found.whole,
            drift_before=finite(found.drift_before),
            drift_after=finite(found.drift_after),
            loss_pct=found.loss_pct,
            takes_s=found.takes_s,
            left_m2=found.left_m2,
            sentence=Sentence(remedy_line(speaker, found, now)).render(language),
        )


class JobStateSchema(ApiModel):
    """What to do with an open job now, the same that its alerts tell."""

    number: int
    field: str
    action: Literal["go on", "get ready", "stop", "cannot see", "wait", "paused"]
    since: int | None
    """Since when it is so: epoch seconds; null where the job cannot be watched."""
    sentence: str

    @classmethod
    def of(cls, job: OpenJobViewModel, language: Language) -> "JobStateSchema":
        return cls(
            number=job.number,
            field=job.field,
            action=job.action.value,
            since=job.state and job.state.since,
            sentence=job.sentence.render(language),
        )


class ChanceSchema(ApiModel):
    """How likely a job begun at a time holds to its end, by scenarios learned here."""

    odds: float
    """0 to 1; it is no better known than in tenths."""
    first_half: float | None
    """The same of the first half of the job; null where unknown."""
    starts_at: int
    ends_at: int
    ended_by: str | None
    """The limit that ends it most often; null where nothing does."""
    past_forecasts: int
    """How many past forecasts here it rests on: under 20 it is mostly general experience."""
    sentence: str

    @classmethod
    def of(
        cls, chance: FieldChance | None, now: int, zone: ZoneInfo, language: Language
    ) -> "ChanceSchema | None":
        """Return what is said of a chance; None where it is not known."""
        if chance is None or chance.chance is None:
            return None
        return cls(
            odds=chance.chance,
            first_half=chance.first_half,
            starts_at=chance.starts_at,
            ends_at=chance.ends_at,
            ended_by=chance.ended_by and chance.ended_by.value,
            past_forecasts=chance.past_forecasts,
            sentence=holds_line(chance, now, zone).render(language),
        )


class FieldSchema(ApiModel):
    """One field now."""

    field: str
    status: StatusWord
    setup: str | None
    """The setup to use; where the field is not open, the one that comes closest."""
    binding: LimitSchema
    left: float
    """Share of the field that is still to be sprayed: its job is of that."""
    duration_s: float
    share_done: float
    breaks_at: int | None
    """Until when it is open by the forecast; ``chance`` says how likely that holds."""
    can_wait_until: int | None
    opens_at: int | None
    """From when it is open by the forecast; ``opening`` says how likely a job begun then holds."""
    opening: ChanceSchema | None
    chance: ChanceSchema | None
    """How likely a job begun now holds to its end; null where that is not known, and always where
    the field is unsuitable or unknown now."""
    job: JobStateSchema | None
    """The job under way on it and what to do with it: it goes before ``status``."""

    @classmethod
    def of(
        cls,
        speaker: Speaker,
        seen: FieldNow,
        at: int,
        language: Language,
        job: OpenJobViewModel | None = None,
    ) -> "FieldSchema":
        return cls(
            field=seen.field,
            status=status_word(seen.status),
            setup=seen.setup,
            binding=LimitSchema.of(speaker, seen.field, seen.binding, language),
            left=seen.left,
            duration_s=seen.duration_s,
            share_done=seen.share_done,
            breaks_at=seen.breaks_at,
            can_wait_until=seen.can_wait_until,
            opens_at=seen.opens_at,
            opening=ChanceSchema.of(seen.opening, at, speaker.farm.zone, language),
            chance=ChanceSchema.of(seen.chance, at, speaker.farm.zone, language),
            job=job and JobStateSchema.of(job, language),
        )


class RankingSchema(ApiModel):
    """What to spray now in which order, and the rest in the order they open."""

    at: int
    judged_at: int | None
    old: bool
    """Whether the watch has not judged for so long that this must not be relied on."""
    caution: str
    jobs: list[JobStateSchema]
    """The jobs under way."""
    spray: list[FieldSchema]
    rest: list[FieldSchema]


class ReasonsSchema(ApiModel):
    """Every limit of one field with one setup now, the binding one first."""

    at: int
    field: str
    setup: str
    status: StatusWord
    limits: list[LimitSchema]
    remedies: list[RemedySchema]
    """What would bring it within its limits, the best first; of a job under way, its rest."""


class HourSchema(ApiModel):
    """What a field is from one time on, with its best setup."""

    at: int
    status: StatusWord
    odds: float | None
    """How likely a job begun then holds to its end, 0 to 1; null where that is not known, and
    always where the field is unsuitable or unknown then."""
    wind_m_s: float | None
    """At boom height."""
    gust_m_s: float | None


class HourReasons(ApiModel):
    """Every limit of one field with one setup from one time on, the binding one first."""

    at: int
    status: StatusWord
    limits: list[LimitSchema]


class DayStartsSchema(ApiModel):
    """The best starts of one day, by the tenths in which chances are said, with the best setup."""

    day: date
    chance: ChanceSchema | None
    """Of the first of them; null where no hour of the day is known to be open."""
    first_start: int | None
    last_start: int | None
    known: bool
    """False where of some hours of the day it is not known whether they are open or how likely a
    job holds: without a chance it is then not known that there is none."""

    @classmethod
    def of(cls, day: DayStarts, now: int, zone: ZoneInfo, language: Language) -> "DayStartsSchema":
        """Return what is said of a day."""
        chance = ChanceSchema.of(day.best, now, zone, language)
        first, last = (None, None) if chance is None else (day.first_at, day.last_at)
        return cls(day=day.day, chance=chance, first_start=first, last_start=last, known=day.known)


class ForecastSchema(ApiModel):
    """The hours ahead of one field."""

    field: str
    setup: str
    hours: list[HourSchema]
    best_starts: list[DayStartsSchema]
    """Of the next three days, with the setup that comes first then; empty where no chances are
    known."""


class JobSchema(ApiModel):
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
    done_share: float | None
    """How much of the field was sprayed, 0 to 1; null where nobody said."""

    @classmethod
    def of(cls, view: JobView) -> "JobSchema":
        job = view.job
        return cls(
            id=job.id,
            field=job.field,
            setup=job.setup,
            sprayer=job.sprayer,
            state=job.state,
            started_at=job.started_at,
            ended_at=job.ended_at,
            planned_s=job.planned_s,
            sprayed_s=view.sprayed_s,
            note=job.note,
            done_share=job.done_share,
        )


class StepSchema(JobSchema):
    """A job after a step, and what became of that step."""

    outcome: Literal["done", "already"]
    said: str
    """The same in a sentence."""


class EventSchema(ApiModel):
    """One step of a job."""

    at: int
    what: str
    against: list[str]
    """What stood against a start and was answered with yes, as it was asked then."""


class JobWithEvents(JobSchema):
    """A spraying job and what was done to it."""

    events: list[EventSchema]

    @classmethod
    def of_story(cls, story: JobStory) -> "JobWithEvents":
        events = [
            EventSchema(
                at=event.at,
                what=event.what,
                against=[one["said"] for one in event.detail.get("against", ())],
            )
            for event in story.steps
        ]
        return cls(**JobSchema.of(story.view).model_dump(), events=events)


class FindingSchema(ApiModel):
    """Something that is not as it should be with a source."""

    kind: sources.FindingKind
    sentence: str
    mend: str
    """What to do."""


class DoubtedSchema(ApiModel):
    """Values of a quantity that failed quality control in the last day."""

    quantity: str
    count: int
    of: int
    share: float
    most_often: str
    """What was found most often, in words."""


class RefusedSchema(ApiModel):
    """Posts of the last day that were refused for one reason."""

    model_config = ConfigDict(from_attributes=True, use_attribute_docstrings=True)

    count: int
    last_at: int
    why: str
    """Why the last one was; of posts in a name that no station has, that name."""
    addresses: list[str]
    """A few of those they came from, the last one last."""


def _refused(posts: Mapping[RefusedWord, object]) -> dict[RefusedWord, RefusedSchema]:
    return {what: RefusedSchema.model_validate(found) for what, found in posts.items()}


class SourceSchema(ApiModel):
    """How a source is."""

    name: str
    state: str
    """In a word or two: "fresh", "doubted", "not believed", "never heard", "stale, not relied on",
    "clock ahead, not relied on"."""
    age_s: int | None
    """Of its newest reading that is not dated ahead; of a feed, since its last answer."""
    stale: bool
    interval_s: float | None
    """How often it reports, learned from its readings; null for a feed."""
    heard_s: int | None
    """Since a reading last came in, whatever its date."""
    clock_ahead_s: int | None
    """How far its clock is ahead, negative where it is behind or sends late; null where it is not
    known to be wrong."""
    units: dict[str, str]
    """Quantities that look as if they came in another unit, and what they look like."""
    doubted: list[DoubtedSchema]
    failures_in_a_row: int
    attribution: str
    distrusted: list[str]
    refused: dict[RefusedWord, RefusedSchema]
    """Posts in its name, refused for their "token" or their "body"."""
    findings: list[FindingSchema]
    """All that is not as it should be, the worst first."""

    @classmethod
    def of(
        cls, source: SourceView, now: int, zone: ZoneInfo, language: Language = ENGLISH
    ) -> "SourceSchema":
        return cls(
            name=source.name,
            state=sources.state(source)[1].render(language),
            age_s=source.age_s,
            stale=source.silent,
            interval_s=source.interval_s,
            heard_s=source.heard_s,
            clock_ahead_s=source.clock_ahead_s,
            units={NAME_OF[name]: unit.render(language) for name, unit in source.units.items()},
            doubted=[
                DoubtedSchema(
                    quantity=NAME_OF[d.quantity],
                    count=d.count,
                    of=d.of,
                    share=d.share,
                    most_often=sources.finding_word(d.most).render(language),
                )
                for d in source.doubted
            ],
            failures_in_a_row=source.failures_in_a_row,
            attribution=source.attribution,
            distrusted=list(source.distrusted),
            refused={
                what: RefusedSchema.model_validate(found) for what, found in source.refused.items()
            },
            findings=[
                FindingSchema(
                    kind=f.kind,
                    sentence=f.sentence.render(language),
                    mend=f.mend.render(language),
                )
                for f in sources.findings(source, now, zone)
            ],
        )

    def for_anybody(self) -> dict[str, Any]:
        """Plain values without what errors said, and without who was refused."""
        open_values = self.model_dump(exclude={"refused", "findings"})
        open_to_all = [f.model_dump() for f in self.findings if f.kind not in _NOT_FOR_ANYBODY]
        return open_values | {"findings": open_to_all}


_NOT_FOR_ANYBODY = {"silent", "wrong token", "not understood", "failing"}


class HealthSchema(ApiModel):
    """How the watch is."""

    well: bool
    """Whether the watch works and every source is fresh and believed."""
    works: bool
    """Whether the watch judges, writes and delivers within its bounds."""
    at: int
    judged_at: int | None
    sources: list[SourceSchema]
    waiting_messages: int
    oldest_waiting_s: int | None
    clock: str | None
    """What contradicts the clock of the watch; null while nothing does."""
    farm_mistakes: list[str]
    """What is wrong with the farm file, where an earlier one is used instead."""
    wrong: list[str]
    """What is wrong with the watch itself, in words."""
    strangers: dict[RefusedWord, RefusedSchema]
    """Posts refused in names that no station has."""

    @classmethod
    def of(cls, health: Health, zone: ZoneInfo) -> "HealthSchema":
        return cls.model_validate(
            health.as_json()
            | {
                "sources": [SourceSchema.of(s, health.at, zone) for s in health.sources],
                "strangers": {
                    w: RefusedSchema.model_validate(found) for w, found in health.strangers.items()
                },
            }
        )

    def for_anybody(self) -> dict[str, Any]:
        """Plain values for whoever asks: what an error said is for those who are let in."""
        plain = self.model_dump(exclude={"sources", "strangers"})
        return plain | {
            "sources": [source.for_anybody() for source in self.sources],
            "farm_mistakes": len(self.farm_mistakes),
        }


class Asked(BaseModel):
    """Something the API is asked for."""

    model_config = ConfigDict(extra="forbid", use_attribute_docstrings=True)


_Name = Annotated[str, Field(min_length=1, max_length=60)]
_Note = Annotated[str, Field(max_length=500)]
_At = Annotated[int | None, Field(ge=0, le=253_402_300_799)]


class StartAsked(Asked):
    """A job to start."""

    field: _Name
    setup: _Name
    confirm: Annotated[list[Annotated[str, Field(max_length=80)]], Field(max_length=40)] = []
    """What stands against it, as ``against[].confirm`` of the answer names it: a plain yes."""
    at: _At = None
    """When it was started, where that is not now: epoch seconds."""


class StepAsked(Asked):
    """What a step of a job needs; each takes what it needs of it."""

    setup: Annotated[str, Field(max_length=60)] = ""
    """The setup to go on with, of the step "setup"."""
    note: _Note = ""
    """A remark for the record."""
    done: Annotated[str, Field(max_length=40)] = ""
    """How much of the field was sprayed, at its end: "40 %", or an area; empty for all of it."""
    measured: dict[Literal["wind", "gust", "wind_from", "temperature", "humidity"], _Name] = {}
    """What was measured by hand at boom height, with its unit, of the step "reading"."""
    changed: dict[Literal["retardant", "rate", "boom", "speed", "strip", "beside"], _Name] = {}
    """What was changed, of the step "change": a retardant and its rate, the boom's height, the
    speed, a strip left (a length, or "2 passes") and beside whom."""
    ref: Annotated[str, Field(max_length=20)] = ""
    """The id of the message that was seen, of the step "seen"."""
    at: _At = None
    """When the step was taken, where that is not now: epoch seconds."""


_Typed = Annotated[str, Field(max_length=500)]
_ByKey = Annotated[dict[_Name, _Typed], Field(max_length=300)]


class ValuesAsked(Asked):
    """Values of a record, by the keys of its form."""

    values: _ByKey
    """What is to stand; a bare number is in the farm's units."""
    was: _ByKey = {}
    """What each was when it was looked at: what another changed since is not overwritten."""
    why: _Typed = ""
    """Why a closed record is corrected."""


class CloseAsked(Asked):
    """A record to be closed."""

    incomplete: _Typed | None = None
    """Why it is closed though a rule asks for what it does not have; null: it is complete."""


class RecordSchema(ApiModel):
    """The record of one job, as it stands."""

    job: int
    closed: bool
    entries: int
    """How many entries it has."""
    values: dict[str, str | float]
    """What stands now, by key: SI, or words."""

    @classmethod
    def of(cls, record: Record) -> Self:
        """Tell a record."""
        return cls(
            job=record.job,
            closed=record.closed is not None,
            entries=len(record.entries),
            values={key: held.value for key, held in record.values.items()},
        )


class DoubtedValue(ApiModel):
    """A posted value that is kept and not used, as quality control found fault with it."""

    at: int
    quantity: str
    findings: list[str]
    """What was found, in words."""
    sentence: str


class NotUsed(ApiModel):
    """A quantity that is kept and not used, whatever its values."""

    quantity: str
    why: str


class TakenSchema(ApiModel):
    """What became of a station's readings, and how the station is."""

    taken: int
    """Readings in the body."""
    new: int
    """Rows of the log that are new or other than they were; 0 for a repeat."""
    doubted: list[DoubtedValue]
    """At most fifty of them."""
    doubted_count: int
    """How many there are."""
    not_used: list[NotUsed]
    ignored: list[str]
    """Names in the body that are not read; of many some."""
    station: SourceSchema

    @classmethod
    def of(cls, posted: Posted, source_view: SourceView, zone: ZoneInfo) -> "TakenSchema":
        doubted = [_doubted(at, quantity, bits) for at, quantity, bits in posted.doubted()]
        whys = dict.fromkeys(
            source_view.unmeasured, "the farm file does not name it among measures"
        )
        whys |= dict.fromkeys(source_view.distrusted, _DISTRUSTED)
        return cls(
            taken=len(posted.checked.series),
            new=posted.new,
            doubted=doubted[:_MOST_DOUBTED],
            doubted_count=len(doubted),
            not_used=[
                NotUsed(quantity=NAME_OF[n], why=why) for n, why in whys.items() if n in posted.said
            ],
            ignored=list(posted.posted.ignored),
            station=SourceSchema.of(source_view, posted.at, zone),
        )


_MOST_DOUBTED = 50
_DISTRUSTED = "failed the checks too often in the last day and is not believed until it improves"


def _doubted(at: int, quantity: str, bits: int) -> DoubtedValue:
    found = [str(word) for word in sources.finding_words(bits)]
    return DoubtedValue(
        at=at,
        quantity=NAME_OF[quantity],
        findings=found,
        sentence=f"{NAME_OF[quantity]}: {', '.join(found)}; kept, not used",
    )


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


class LoadsSchema(ApiModel):
    """The loads of a step."""

    full: int
    """How many full tanks."""
    tank_l: float
    last_l: float
    """What a last load that is not full takes; 0 without one."""
    sentences: list[str]
    """Water and products, load by load."""


class PlanStepSchema(ApiModel):
    """One job of the plan. Times are epoch seconds."""

    sprayer: str
    driver: str | None
    """Who drives it; null where the farm file names no drivers."""
    field: str
    setup: str
    starts_at: int
    ends_at: int
    due: bool
    """Whether its time has come."""
    chance: float
    """That it holds to its end."""
    ended_by: str | None
    """The limit that ends it most often."""
    change_s: float
    """The way, the rinsing and other tips before it."""
    tips_s: float
    """The part of that for other tips."""
    cleans_out: bool
    part: float
    """The share of what is still to be sprayed that it is of."""
    area_m2: float
    loads: LoadsSchema


class LeftOutSchema(ApiModel):
    """A field the plan leaves out."""

    field: str
    why: Literal[
        "not known", "no hour", "no time", "wished", "only with", "home by", "out", "nobody"
    ]
    sentence: str


class LossSchema(ApiModel):
    """What is lost where a field is done first that the plan does later."""

    first: str
    loses: list[str]
    """Fields that are no longer planned then."""
    fewer: float
    """How many fewer fields are likely to be finished."""
    sentence: str


class PlanSchema(ApiModel):
    """The plan of the day. Times are epoch seconds."""

    number: int | None
    """What it is accepted by; null while there is no plan."""
    at: int
    made_at: int | None
    state: Literal["none", "stands", "being worked out", "old"]
    """By an old one nothing may be done: it has no steps here."""
    changed: Literal["issue", "job", "wishes", "farm", "closed", "age", "quick"] | None
    """Why it is being worked out anew."""
    sentence: str
    caution: str
    steps: list[PlanStepSchema]
    """In the order they begin."""
    left_out: list[LeftOutSchema]
    losses: list[LossSchema]
    refused: str | None
    """The wish that no plan can fulfil, and what stands in its way."""
    accepted_at: int | None
    accepted_by: str | None
    turned: bool
    """Whether the next steps are others than were accepted."""

    @classmethod
    def of(
        cls,
        speaker: Speaker,
        plan: PlanNow | None,
        ranking: Ranking,
        language: Language,
        now: int,
    ) -> Self:
        caution = CAUTION.render(language)
        if plan is None:
            return cls(
                number=None,
                at=now,
                made_at=None,
                state="none",
                changed=None,
                sentence=day_plan.NOT_YET.render(language),
                caution=caution,
                steps=[],
                left_out=[],
                losses=[],
                refused=None,
                accepted_at=None,
                accepted_by=None,
                turned=False,
            )
        kept = plan.kept
        out = {} if plan.old else kept.plan.left_out
        losses = {} if plan.old else kept.loses
        return cls(
            number=kept.number,
            at=now,
            made_at=kept.made_at,
            state="old" if plan.old else "being worked out" if plan.changed else "stands",
            changed=None if plan.changed is None else plan.changed.value,
            sentence=day_plan.plan_status(plan, speaker).render(language),
            caution=caution,
            steps=[_plan_step(speaker, plan, step, language) for step in plan.steps],
            left_out=[
                LeftOutSchema(
                    field=field,
                    why=why.value,
                    sentence=day_plan.why_out(why, field, speaker, ranking).render(language),
                )
                for field, why in out.items()
                if field not in plan.done
            ],
            losses=[
                LossSchema(
                    first=field,
                    loses=list(lost.fields),
                    fewer=lost.fewer,
                    sentence=day_plan.loses(lost).render(language),
                )
                for field, lost in losses.items()
            ],
            refused=None
            if kept.refused is None
            else day_plan.refusal(kept.refused).render(language),
            accepted_at=None if plan.accepted is None else plan.accepted.at,
            accepted_by=None if plan.accepted is None else plan.accepted.by,
            turned=bool(plan.turned),
        )


def _plan_step(
    speaker: Speaker, plan: PlanNow, step: PlanStep, language: Language
) -> PlanStepSchema:
    loads = day_plan.loads_of(speaker, step)
    return PlanStepSchema(
        sprayer=step.sprayer,
        driver=step.driver or None,
        field=step.field,
        setup=step.setup,
        starts_at=step.starts_at,
        ends_at=step.ends_at,
        due=step in plan.due,
        chance=step.chance,
        ended_by=None if step.ended_by is None else step.ended_by.value,
        change_s=step.change_s,
        tips_s=step.tips_s,
        cleans_out=step.cleans_out,
        part=step.part,
        area_m2=step.area_m2,
        loads=LoadsSchema(
            full=loads.full,
            tank_l=speaker.farm.config.sprayers[step.sprayer].tank,
            last_l=loads.last_l,
            sentences=[x.render(language) for x in day_plan.load_lines(speaker, step)],
        ),
    )


class WishOfPlan(ApiModel):
    """What is asked of the plan, or taken back."""

    model_config = ConfigDict(use_attribute_docstrings=True, extra="forbid")

    wish: Literal["first", "not today", "only with", "home by", "out"]
    """All but "only with" are for today."""
    field: Annotated[str, Field(max_length=60)] = ""
    """For "first", "not today" and "only with"."""
    sprayer: Annotated[str, Field(max_length=60)] = ""
    """For "only with" and "out"."""
    clock: Annotated[str, Field(max_length=20)] = ""
    """For "home by": 17:00, on the farm's clock."""
    back: bool = False
    """Whether the wish is taken back."""
