"""What may be started, changed and ended of a spraying job, and what is noted of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from watcher.i18n.message import Message, Name, Number, Param, ShownQuantity, WallTime, joined, say
from watcher.jobs import changes
from watcher.jobs.by_hand import understood
from watcher.jobs.recently_sprayed import recently_sprayed
from watcher.jobs.steps import (
    EVENT_OF,
    Judged,
    StepName,
    StepOutcome,
    StepRequest,
    fold,
    share_begun,
    sprayed_s,
)
from watcher.judge.by_hand import COUNTS_S
from watcher.judge.changed_rig import ChangedRig
from watcher.judge.start_check import Against, Look, Obstacle
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.reasons import Speaker
from watcher.messages.start import asks_first, obstacle_line
from watcher.messages.vocabulary import JOB_EVENT_WORDS
from watcher.messages.words import span
from watcher.store import jobs, outbox, records
from watcher.store.jobs import JobConflictError
from watcher.store.tables import Job, JobEvent, JobStep
from watcher.units import Kind, read

_IN_HAND = {"started", "resumed", "setup changed", changes.EVENT}
_STRAYS = "wind strays"
CLOCK_TOLERANCE_S = 60
"""How far ahead of the watch's clock a step may be dated. [s]"""
OLDEST_S = 12 * 3600
"""How long after it was tapped a step is still taken. [s]"""
_SEEN_WITHIN_S = 24 * 3600
_MOST_SHARE = 1.02
"""Sizes of fields are rounded: a little more than all of it is all of it."""


class BadStepError(ValueError):
    """A step that means nothing as it was asked for; says what would do. Nothing is kept of it."""


class JobNotPlannedError(ValueError):
    """The field or setup of a job does not fit the farm file; says what would."""


@dataclass(frozen=True)
class StepTaken:
    """What became of a step, the same however often it is asked for under one key."""

    name: StepName
    outcome: StepOutcome
    job: Job | None
    """The job as it is now; None where none was started, or a message is of no job."""
    text: Message
    """What became of it, in a sentence."""
    obstacles: tuple[Obstacle, ...] = ()
    """What stands against a start and is not answered with yes yet."""


def take(session: Session, plan: FarmArrays, step: StepRequest, now: int, look: Look) -> StepTaken:
    """Take a step of a job: the one way in for pages, programs and commands.

    A step with a key that was asked for before is answered as it was then, and changes nothing. A
    step that comes in late counts from when it was tapped, among the job's other steps. A start
    that something stands against by ``look`` asks first: nothing is kept of it, so that the same
    start is taken with the same key once it carries the yes. Raises
    BadStepError where it means nothing or its time cannot be, and UnknownJobError.
    """
    at = _tapped_at(step, now)
    if step.name is StepName.SEEN:
        return _seen(session, plan, step, at)
    if step.name is not StepName.START:
        job = jobs.job(session, step.job or 0, hold=True)
    if step.key is not None:
        before = jobs.step_of_key(session, step.by, step.key)
        if before is not None:
            return _as_before(session, plan, step, before, now)
    if step.name is StepName.START:
        return _start(session, plan, step, at, now, look=look)
    known = jobs.steps(session, job.id)
    at = max(at, *(s.at for s in known)) if step.at is None else _within_job(job, at)
    try:
        rig = changes.rig_at(job, jobs.events(session, job.id), at)
        detail = _detail(plan, job, step, share_begun(known), rig)
    except JobNotPlannedError as error:
        return StepTaken(step.name, StepOutcome.REFUSED, job, joined([str(error)]))
    new = _row(step, job.id, at, now, detail)
    if records.is_closed(session, job.id) and fold([*known, new])[0] != fold(known)[0]:
        text = say(
            "not kept: the record of job {number} is closed; correct the record instead",
            number=job.id,
        )
        return StepTaken(step.name, StepOutcome.REFUSED, job, text)
    session.add(new)
    session.flush()
    return _settled(session, plan, job, new, now)


def _tapped_at(step: StepRequest, now: int) -> int:
    if step.at is None:
        return now
    if step.at > now + CLOCK_TOLERANCE_S:
        raise BadStepError(
            f"the step is dated {span(step.at - now)} ahead of the watch's clock; set the clock of "
            "the device, or leave the time out"
        )
    if step.at < now - OLDEST_S:
        raise BadStepError(
            f"the step was tapped {span(now - step.at)} ago, and is taken for {span(OLDEST_S)} at "
            "most; take it now, and type its real time into the record"
        )
    return min(step.at, now)


def _within_job(job: Job, at: int) -> int:
    if at < job.started_at - CLOCK_TOLERANCE_S:
        raise BadStepError(f"the step is dated before job {job.id} was started; correct its time")
    return max(at, job.started_at)


def _row(step: StepRequest, job: int | None, at: int, now: int, detail: dict[str, Any]) -> JobStep:
    return JobStep(
        job_id=job,
        name=step.name.value,
        by=step.by,
        key=step.key or uuid4().hex,
        at=at,
        received_at=now,
        asked=step.asked,
        detail=detail,
        refused=None,
    )


def _as_before(
    session: Session, plan: FarmArrays, step: StepRequest, before: JobStep, now: int
) -> StepTaken:
    other_job = step.name is not StepName.START and step.job != before.job_id
    if before.name != step.name or before.asked != step.asked or other_job:
        raise BadStepError(f"the key {step.key!r} was used for another step; give each its own")
    if before.job_id is None:
        return StepTaken(step.name, StepOutcome.REFUSED, None, joined([before.refused or ""]))
    return _settled(session, plan, jobs.job(session, before.job_id, hold=True), before, now)


def _start(
    session: Session, plan: FarmArrays, step: StepRequest, at: int, now: int, *, look: Look
) -> StepTaken:
    """Start a job, planned to last as long as the farm file's numbers say.

    Refused where the farm file has no such field or does not allow the setup on it, and where the
    field or the sprayer is in another job; the same start of two people is one.
    """
    row = _row(step, None, at, now, {})
    try:
        sprayer = _sprayer(plan, step.setup)
        left = recently_sprayed(session, plan.farm, now).left.get(step.field)
        planned_s = _planned_s(plan, step.field, step.setup, left)
        row.detail = {"setup": step.setup, "sprayer": sprayer, "planned_s": planned_s}
        row.detail |= {} if left is None else {"left": left}
        if not jobs.busy(session, step.field, sprayer):  # else the job that is open decides
            found = tuple(look(step.field, step.setup))
            if any(one.token not in step.confirm for one in found):
                text = asks_first(Speaker(plan.farm), step.field, found, now)
                return StepTaken(step.name, StepOutcome.ASKS, None, text, found)
            row.detail |= _answered(plan, step.field, found, now) | _agreed(found)
        job = _started(session, step, sprayer, planned_s, at)
    except (JobNotPlannedError, JobConflictError) as error:
        row.refused = str(error)
        session.add(row)
        return StepTaken(step.name, StepOutcome.REFUSED, None, joined([row.refused]))
    row.job_id = job.id
    session.add(row)
    session.flush()
    return _settled(session, plan, job, row, now)


def _answered(
    plan: FarmArrays, field: str, found: Sequence[Obstacle], now: int
) -> dict[str, list[dict[str, Any]]]:
    """What was answered with yes, as it was asked: in the farm's language."""
    if not found:
        return {}
    speaker, language = Speaker(plan.farm), plan.farm.language
    lines = [obstacle_line(speaker, field, one, now).render(language) for one in found]
    return {
        "against": [
            {
                "limit": one.reason.limit.value,
                "against": one.against.value,
                "origin": one.reason.origin.value,
                "at": one.at,
                "said": said,
            }
            for one, said in zip(found, lines, strict=True)
        ]
    }


def _agreed(found: Sequence[Obstacle]) -> dict[str, dict[str, float]]:
    """How deep the strips are that were agreed to with the yes, by neighbour. [m]"""
    strips = [strip for one in found if one.against is Against.STRIP for strip in one.reason.strips]
    return {"strips": {s.neighbour: s.depth_m for s in strips}} if strips else {}


def _started(session: Session, step: StepRequest, sprayer: str, planned_s: float, at: int) -> Job:
    """Return the job the start is of: a new one, or the open one that is the same."""
    other = jobs.overlapping(session, step.field, sprayer, at) if step.at is not None else None
    if other is not None and other.ended_at is not None:
        raise JobConflictError(
            f"{other.field} was in job {other.id} with {other.sprayer} after that time, and that "
            f"job is {other.state}"
        )
    try:
        return jobs.start(
            session,
            field=step.field,
            setup=step.setup,
            sprayer=sprayer,
            at=at,
            planned_s=planned_s,
        )
    except JobConflictError:
        for job in jobs.open_jobs(session):
            if (job.field, job.setup) == (step.field, step.setup):
                return job
        raise


def _detail(
    plan: FarmArrays, job: Job, step: StepRequest, left: float | None, rig: ChangedRig | None
) -> dict[str, Any]:
    """What a step means by the farm file of now. ``left``: the share the job was begun for."""
    if step.name is StepName.SETUP:
        handled = plan if rig is None else replace(rig, strips={}, agreed={}).on(plan, None)
        planned_s = _planned_s(handled, job.field, step.setup, left)
        if _sprayer(plan, step.setup) != job.sprayer:
            raise JobNotPlannedError(
                f"setup {step.setup!r} is of another sprayer than job {job.id}, which has "
                f"{job.sprayer!r}; finish or abandon that job and start another"
            )
        return {"setup": step.setup, "planned_s": planned_s}
    if step.name is StepName.READING:
        written = {name: text for name, text in step.measured.items() if text}
        try:
            return {"said": written, "measured": understood(written)}
        except ValueError as error:
            raise BadStepError(str(error)) from error
    if step.name is StepName.CHANGE:
        return _change(plan, job, step, left)
    share = done_share(plan, job.field, step.done)
    if share is None and step.name is StepName.FINISH:
        share = left  # all of it is all that was left
    return {"note": step.note, "done_share": share}


def _change(plan: FarmArrays, job: Job, step: StepRequest, left: float | None) -> dict[str, Any]:
    """What a change of the rig means: its values, and how long the field takes at a new speed."""
    planned_s = _planned_s(plan, job.field, job.setup, left)
    written = {name: text for name, text in step.changed.items() if text}
    try:
        changed = changes.understood(plan, job, written)
    except ValueError as error:
        raise BadStepError(str(error)) from error
    detail: dict[str, Any] = {"said": written, "changed": changed}
    if "speed_m_s" in changed:
        rig = ChangedRig(job.field, job.setup, speed_m_s=changed["speed_m_s"])
        planned_s = _planned_s(rig.on(plan, None), job.field, job.setup, left)
        detail["planned_s"] = planned_s
    return detail


def done_share(plan: FarmArrays, field: str, written: str) -> float | None:
    """Return the share of a field that an amount stands for: "40 %", "40", or an area.

    None for nothing written. Raises BadStepError for what is neither, or more than the field.
    """
    if not written.strip():
        return None
    try:
        share = _share(plan, field, written.strip())
    except ValueError as error:
        raise BadStepError(
            f"how much was done: {written.strip()[:40]!r} is not understood; write a share such as "
            '"40 %", or an area such as "5 ha"'
        ) from error
    if not 0.0 <= share <= _MOST_SHARE:
        raise BadStepError(
            f"how much was done: {written.strip()[:40]!r} is not between nothing and all of {field}"
        )
    return min(share, 1.0)


def _share(plan: FarmArrays, field: str, written: str) -> float:
    try:
        pct = float(written.replace(",", ".")) if written[-1].isdigit() else None
        return (read(written, Kind.PERCENT) if pct is None else pct) / 100.0
    except ValueError:
        if field not in plan.fields:
            raise
        return read(written, Kind.AREA) / plan.farm.ground.area_m2(field)


def _settled(session: Session, plan: FarmArrays, job: Job, step: JobStep, now: int) -> StepTaken:
    """Make the job and its events what its steps make of it; answer what became of one."""
    progress, judged = fold(jobs.steps(session, job.id))
    job.state, job.setup = progress.state, progress.setup
    job.started_at, job.planned_s = progress.started_at, progress.planned_s
    job.paused_s, job.paused_at = progress.paused_s, progress.paused_at
    job.ended_at, job.done_share = progress.ended_at, progress.done_share
    job.note = "\n".join(progress.notes)
    _keep_events(session, job, judged)
    job.planned_s = max(0.0, job.planned_s - _saved_by_strips_s(session, plan, job, now))
    session.flush()
    [became] = [j for j in judged if j.step.id == step.id]
    zone = plan.farm.zone
    text: Message = _sentence(job, became, now, zone)
    if step.name == StepName.READING and became.outcome is StepOutcome.DONE:
        until = WallTime(step.at + COUNTS_S, now, zone)
        text = say(
            "{line}; it counts until {time}, with what the station changes", line=text, time=until
        )
    if step.name == StepName.CHANGE and became.outcome is StepOutcome.DONE:
        counts = changes.counts_for(plan, job, step.detail["changed"])
        text = text if counts is None else joined([text, counts], "; ")
    if job.ended_at is not None and became.outcome is StepOutcome.DONE:
        left = recently_sprayed(session, plan.farm, now).left.get(job.field)
        if left is not None:
            text = joined([text, _still_left(plan, job.field, left)], "; ")
    return StepTaken(StepName(step.name), became.outcome, job, text)


def _saved_by_strips_s(session: Session, plan: FarmArrays, job: Job, now: int) -> float:
    """How much sooner a job is over for the strips that it leaves unsprayed. [s]"""
    rig = changes.rig_at(job, jobs.events(session, job.id), now)
    if rig is None or not rig.fits(plan):
        return 0.0
    left = share_begun(jobs.steps(session, job.id))
    whole = plan if left is None else plan.leaving({job.field: left})
    every = replace(rig, strips={}, agreed={})
    at = plan.fields.index(job.field), plan.setups.index(rig.setup)
    return float((every.on(whole, None).duration_s - rig.on(whole, None).duration_s)[at])


def _still_left(plan: FarmArrays, field: str, left: float) -> Message:
    ground, system = plan.farm.ground, plan.farm.config.farm.units
    return say(
        "{share} of the field, {area}, is still to be sprayed",
        share=Number(f"{left:.0%}"),
        area=ShownQuantity(left * ground.area_m2(field), Kind.AREA, system),
    )


def _keep_events(session: Session, job: Job, judged: Sequence[Judged]) -> None:
    wanted = [
        (j.step.at, EVENT_OF[StepName(j.step.name)], _event_detail(j))
        for j in judged
        if j.outcome is StepOutcome.DONE
    ]
    for event in jobs.events(session, job.id):
        known = (event.at, event.what, event.detail)
        if known in wanted:
            wanted.remove(known)
        elif event.what in EVENT_OF.values():  # what the watch notes for itself stays
            session.delete(event)
    for at, what, detail in wanted:
        session.add(JobEvent(job_id=job.id, at=at, what=what, detail=detail))


def _event_detail(judged: Judged) -> dict[str, Any]:
    step, detail = judged.step, judged.step.detail
    who = {"by": step.by} if step.by else {}
    match step.name:
        case StepName.START:
            keys = ("setup", "sprayer", "against", "strips")
            return {key: detail[key] for key in keys if key in detail} | who
        case StepName.PAUSE:
            return {"why": detail["note"]} | who
        case StepName.SETUP:
            return {"from": judged.setup_before, "to": detail["setup"]} | who
        case StepName.RESUME:
            return who
        case StepName.READING | StepName.CHANGE:
            said = ("said", "measured", "changed")
            return {key: detail[key] for key in said if key in detail} | who
    share = detail.get("done_share")
    return {"note": detail["note"]} | ({} if share is None else {"done_share": share}) | who


def _sentence(job: Job, became: Judged, now: int, zone: ZoneInfo) -> Message:
    about: dict[str, Param] = {"number": job.id, "field": job.field}
    if became.step.name == StepName.SETUP and became.outcome is StepOutcome.ALREADY:
        setup = str(became.step.detail["setup"])
        return say("job {number} on {field} has setup {setup} already", **about, setup=setup)
    stands = became.step if became.outcome is StepOutcome.DONE else became.stands
    about |= {
        "what": JOB_EVENT_WORDS[EVENT_OF[StepName(stands.name)]],
        "time": WallTime(stands.at, now, zone),
        "who": Name(stands.by),
    }
    if became.outcome is StepOutcome.ALREADY:
        if stands.by:
            return say("job {number} on {field}: already {what}, {time}, by {who}", **about)
        return say("job {number} on {field}: already {what}, {time}", **about)
    if stands.by:
        return say("job {number} on {field}: {what}, {time}, by {who}", **about)
    return say("job {number} on {field}: {what}, {time}", **about)


@dataclass(frozen=True)
class FirstSeen:
    """Who has seen a message first. ``new``: it was not known before, or of somebody later."""

    at: int
    by: str
    new: bool


def see(session: Session, ref: str, by: str, at: int) -> FirstSeen:
    """Record that a message was seen, and answer who has seen it first. ``at`` is epoch seconds.

    Raises BadStepError where no message of the last day has that id.
    """
    since = at - _SEEN_WITHIN_S
    new = bool(outbox.acknowledge(session, ref.upper(), by, at, since=since))
    first = outbox.first_acknowledged(session, ref.upper(), since=since)
    if first is None:
        raise BadStepError(
            f"no message of the last day with the id {ref[:20]!r} waits to be seen; "
            "'watcher messages' lists them"
        )
    return FirstSeen(first[0], first[1], new)


def _seen(session: Session, plan: FarmArrays, step: StepRequest, at: int) -> StepTaken:
    job = None if step.job is None else jobs.job(session, step.job)
    seen, ref = see(session, step.ref, step.by, at), step.ref.upper()
    if seen.new:
        text = say("{ref} was seen by {who}", ref=ref, who=Name(seen.by))
        return StepTaken(step.name, StepOutcome.DONE, job, text)
    when = WallTime(seen.at, at, plan.farm.zone)
    text = say("{ref} was already seen, {time}, by {who}", ref=ref, time=when, who=Name(seen.by))
    return StepTaken(step.name, StepOutcome.ALREADY, job, text)


def taken_in_hand_at(events: Sequence[JobEvent]) -> int:
    """When the grower last started the job, went on with it or changed its setup. [epoch s]"""
    return max(e.at for e in events if e.what in _IN_HAND)


def tank_age_s(job: Job, events: Sequence[JobEvent], tank_s: float, now: int) -> float:
    """How long what is in the tank has been going round, pauses included. [s]

    ``tank_s`` is how long a full tank lasts while spraying. Fills are reckoned, not said: one at
    the start, and one whenever so much has been sprayed.
    """
    since_fill = sprayed_s(job, now) % tank_s
    running, until = 0.0, now
    for event in reversed(events):
        if event.what == "paused":
            until = event.at
        elif event.what in {"started", "resumed"}:
            if running + until - event.at >= since_fill:
                return now - (until - (since_fill - running))
            running += until - event.at
    return float(now - job.started_at)


def wind_strays(events: Sequence[JobEvent], source: str) -> float | None:
    """How far the wind of a station strays against the usual, as it was learned for the job.

    None where nobody has looked yet.
    """
    scales = [e.detail["scale"] for e in events if e.what == _STRAYS if e.detail["of"] == source]
    return float(scales[-1]) if scales else None


def note_wind_strays(session: Session, job: Job, source: str, scale: float, now: int) -> None:
    """Record how far the wind of a station strays, so that it is learned once a job."""
    detail = {"of": source, "scale": scale}
    session.add(JobEvent(job_id=job.id, at=now, what=_STRAYS, detail=detail))


def _planned_s(plan: FarmArrays, field: str, setup: str, left: float | None) -> float:
    """How long the field takes, or what is ``left`` of it. [s]"""
    if field not in plan.fields:
        known = ", ".join(plan.fields)
        raise JobNotPlannedError(f"the farm file has no field {field!r}; it has {known}")
    f = plan.fields.index(field)
    allowed = [name for s, name in enumerate(plan.setups) if plan.allowed[f, s]]
    if setup not in allowed:
        raise JobNotPlannedError(
            f"setup {setup!r} may not be used on field {field!r}; these may: {', '.join(allowed)}"
        )
    lasts = plan.duration_s if left is None else plan.leaving({field: left}).duration_s
    return float(lasts[f, plan.setups.index(setup)])


def _sprayer(plan: FarmArrays, setup: str) -> str:
    setups = plan.farm.config.setups
    if setup not in setups:
        raise JobNotPlannedError(
            f"the farm file has no setup {setup!r}; it has {', '.join(setups)}"
        )
    return setups[setup].sprayer
