"""A form of a record filled in: several values at once, all of them written or none.

A form carries what each value was when it was shown. Only what was changed in it is written; what
somebody else changed since is shown and not overwritten.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from watcher.i18n.message import Message, say
from watcher.limits.farm_arrays import FarmArrays
from watcher.records import commands, journal
from watcher.records.errors import RecordError
from watcher.records.form import FormError, WrongValuesError, local, split, typed, with_unit
from watcher.records.judged_weather import Compose
from watcher.records.record import Record
from watcher.store import jobs

WHY = "why"
"""The key of the reason for a correction, among what is wrong."""


@dataclass(frozen=True)
class Filled:
    """A form as it comes in, by the keys of its values."""

    values: Mapping[str, str]
    """What stands in it now: bare numbers are in the farm's units."""
    was: Mapping[str, str] = field(default_factory=dict)
    """What stood in it when it was shown; a value without one is written as it is."""
    step: str | None = None
    """Its key: the same form, sent twice, is taken once."""
    why: str = ""
    """Why a closed record is corrected."""


class MeanwhileError(FormError):
    """A value was changed by another since the form was shown."""


def fill(
    session: Session,
    plan: FarmArrays,
    compose: Compose,
    job_id: int,
    filled: Filled,
    *,
    by: str,
    now: int,
) -> Record:
    """Write what was changed in a form. Raises WrongValuesError for each value that cannot be.

    Raises RecordError where the record as a whole is not to be filled in.
    """
    journal.hold(session)  # nobody else writes between what is compared here and what is written
    if jobs.job(session, job_id).ended_at is None:
        raise RecordError(say("job {job} is not ended; finish or abandon it first", job=job_id))
    record = seen(session, plan, compose, job_id, now)
    if commands.taken(record, filled.step, by):
        return record
    texts: dict[str, str] = {}
    wrong: dict[str, FormError] = {}
    for key, text in filled.values.items():
        try:
            if _is_changed(record, key, text.strip(), filled.was.get(key), plan):
                texts[key] = with_unit(split(key)[0], text.strip(), plan.farm.config.farm.units)
        except FormError as error:
            wrong[key] = error
    if record.closed is not None and texts and not filled.why.strip():
        wrong[WHY] = FormError(say("a correction says why"))
    try:
        commands.read_values(plan.farm, texts)
    except WrongValuesError as error:
        wrong |= error.wrong
    if wrong:
        raise WrongValuesError(wrong)
    if not texts:
        return record
    farm, step = plan.farm, filled.step
    if record.closed is None:
        return commands.tell(session, farm, job_id, texts, by=by, now=now, step=step)
    return commands.correct(session, farm, job_id, texts, why=filled.why, by=by, now=now, step=step)


def seen(session: Session, plan: FarmArrays, compose: Compose, job_id: int, now: int) -> Record:
    """Return a job's record as a form shows it: what is typed in, where no more can be said."""
    try:
        return commands.look(session, plan, compose, job_id, now)
    except RecordError:
        return commands.record_of(session, job_id)


def _is_changed(record: Record, key: str, text: str, was: str | None, plan: FarmArrays) -> bool:
    """Whether a value is to be written. Raises FormError where it may not be."""
    held = record.values.get(key)
    there = typed(split(key)[0], None if held is None else held.value, plan.farm.config.farm.units)
    if text in {there, was}:
        return False
    if was is not None and was != there:
        raise MeanwhileError(_meanwhile(record, key, there, plan))
    if not text:
        raise FormError(say("what is there is not emptied: write what is right in its place"))
    return True


def _meanwhile(record: Record, key: str, there: str, plan: FarmArrays) -> Message:
    for entry in reversed(record.entries):
        if key in entry.content.get("values", {}) or entry.content.get("key") == key:
            return say(
                'meanwhile {who} wrote "{value}" at {time}; save once more to write yours',
                who=entry.link.by,
                value=there,
                time=local(entry.link.at, plan.farm.zone)[11:16],
            )
    return say('meanwhile it is "{value}"; save once more to write yours', value=there)
