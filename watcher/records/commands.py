"""The steps of a record: facts kept, values typed in, closed, corrected. Each writes an entry.

Every function runs inside the caller's transaction; what it refuses has written nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from sqlalchemy.orm import Session

from watcher.alerts.context import job_subject
from watcher.farm import Farm
from watcher.i18n.message import say
from watcher.limits.farm_arrays import FarmArrays
from watcher.records import journal, rules
from watcher.records.errors import IncompleteError, RecordError
from watcher.records.facts import (
    AlertSent,
    Closing,
    Correction,
    EnteredValues,
    EntryKind,
    Held,
    Kept,
    Part,
    Value,
)
from watcher.records.form import FormError, WrongValuesError, moment, read, split
from watcher.records.gather import check_times, gather, product_values, rigs_and_pauses
from watcher.records.judged_weather import Compose
from watcher.records.record import Record, fold, totals
from watcher.store import jobs
from watcher.store import records as store
from watcher.store.tables import Job, Outgoing


def record_of(session: Session, job_id: int) -> Record:
    """Return a job's record as written so far. Raises ``UnknownJobError``."""
    return fold(jobs.job(session, job_id).id, journal.entries(session, job_id))


def recorded(session: Session, numbers: Sequence[int] = ()) -> list[int]:
    """Return the jobs that have a record: those of these numbers, or all, in their order.

    Raises RecordError for a job that has none yet, and UnknownJobError.
    """
    there = store.recorded_jobs(session)
    for number in numbers:
        if number not in there:
            jobs.job(session, number)
            raise RecordError(
                say("job {job} has no record yet; watcher record close {job} makes it", job=number)
            )
    return sorted(set(numbers)) if numbers else there


def look(session: Session, plan: FarmArrays, compose: Compose, job_id: int, now: int) -> Record:
    """Return a job's record; what is not kept of it yet is gathered as it would be now."""
    record = record_of(session, job_id)
    if record.closed is not None:
        return record
    kept = _kept(session, plan, compose, record, now)
    return record if kept == record.kept else replace(record, kept=kept)


def keep(
    session: Session, plan: FarmArrays, compose: Compose, job_id: int, *, by: str, now: int
) -> Record:
    """Keep what the logs and the farm file say of an ended job, unless that is done.

    Done soon after the job, while the farm file still says how it was sprayed.
    """
    record = record_of(session, job_id)
    if record.closed is not None:
        return record
    if jobs.job(session, job_id).ended_at is None:
        raise RecordError(say("job {job} is not ended; finish or abandon it first", job=job_id))
    kept = _kept(session, plan, compose, record, now)
    if kept == record.kept:
        return record
    return _write(session, record, EntryKind.KEPT, kept, by=by, now=now)


def unkept(session: Session, since: int, now: int) -> list[int]:
    """Return the jobs started since then that are ended and nothing is kept of yet."""
    ended = [j.id for j in jobs.past_jobs(session, since, now + 1) if j.ended_at is not None]
    return [n for n in ended if (r := record_of(session, n)).kept is None and r.closed is None]


def tell(
    session: Session,
    farm: Farm,
    job_id: int,
    texts: Mapping[str, str],
    *,
    by: str,
    now: int,
    step: str | None = None,
) -> Record:
    """Type values in, by key: all of them in one entry, or none. Raises FormError and RecordError.

    A product that the farm file has brings with it what that says of it. ``step`` is the key of a
    form: the same one is taken once.
    """
    record = record_of(session, job_id)
    if taken(record, step, by):
        return record
    if record.closed is not None:
        raise RecordError(
            say(
                "the record of job {job} is closed; correct it, the old value is kept visible",
                job=job_id,
            ),
            f'watcher record correct {job_id} key=value --why "…"',
        )
    values = read_values(farm, texts)
    _check_times(session, record, values, now)
    entered = EnteredValues(values=values, step=step)
    return _write(session, record, EntryKind.ENTERED, entered, by=by, now=now)


def correct(
    session: Session,
    farm: Farm,
    job_id: int,
    texts: Mapping[str, str],
    *,
    why: str,
    by: str,
    now: int,
    step: str | None = None,
) -> Record:
    """Put values of a closed record right: one entry a value, which names the old one too."""
    record = record_of(session, job_id)
    if taken(record, step, by):
        return record
    if record.closed is None:
        raise RecordError(
            say(
                "the record of job {job} is not closed; what it holds can simply be changed",
                job=job_id,
            ),
            f"watcher record set {job_id} key=value",
        )
    if not why.strip():
        raise RecordError(say("a correction says why"), 'add --why "…"')
    values = read_values(farm, texts)
    _check_times(session, record, values, now)
    new = {key: held for key, held in values.items() if record.value(key) != held.value}
    if not new:
        raise RecordError(say("nothing to correct: {keys} is that already", keys=", ".join(values)))
    changes = [(key, held.value, why.strip()) for key, held in new.items()]
    changes += [(key, value, "rate times area") for key, value in _following(record, new)]
    for key, value, reason in changes:
        old = record.value(key)
        correction = Correction(key=key, old=old, new=value, why=reason, step=step)
        record = _write(session, record, EntryKind.CORRECTED, correction, by=by, now=now)
    return record


def taken(record: Record, step: str | None, by: str) -> bool:
    """Return whether somebody's form of this key is written already."""
    if step is None:
        return False
    return any(e.link.by == by and e.content.get("step") == step for e in record.entries)


def _following(record: Record, new: Mapping[str, Held]) -> list[tuple[str, Value]]:
    """Totals that were worked out and are no longer rate times area."""
    others = {key: held for key, held in record.values.items() if not _is_total(key, held)}
    found = totals(others | dict(new))
    return [(key, t.value) for key, t in found.items() if t.value != record.value(key)]


def _is_total(key: str, held: Held) -> bool:
    return key.startswith("total") and held.origin == "worked out"


def close(
    session: Session,
    plan: FarmArrays,
    compose: Compose,
    job_id: int,
    *,
    by: str,
    now: int,
    incomplete: str | None = None,
) -> Record:
    """Close a record: from then on only corrections are added.

    Raises IncompleteError where a rule asks for something it does not have, unless ``incomplete``
    says why it is closed all the same; that is kept in it.
    """
    record = record_of(session, job_id)
    if record.closed is not None:
        raise RecordError(say("the record of job {job} is closed already", job=job_id))
    if incomplete is not None and not incomplete.strip():
        raise RecordError(say('say why it is closed as it is: --incomplete "…"'))
    record = keep(session, plan, compose, job_id, by=by, now=now)
    asked = plan.farm.config.farm.record_rules
    missing = rules.missing(record, asked)
    if missing and incomplete is None:
        raise IncompleteError(job_id, missing)
    closing = Closing(
        values=record.values,
        alerts=tuple(_alert(m) for m in store.messages_about(session, job_subject(job_id))),
        rules=asked,
        missing=tuple(missing),
        incomplete=incomplete.strip() if incomplete and missing else None,
    )
    return _write(session, record, EntryKind.CLOSED, closing, by=by, now=now)


def _write(
    session: Session, record: Record, kind: EntryKind, part: Part, *, by: str, now: int
) -> Record:
    content = part.model_dump(mode="json")
    entry = journal.write(session, job=record.job, kind=kind.value, at=now, by=by, content=content)
    return fold(record.job, (*record.entries, entry))


def read_values(farm: Farm, texts: Mapping[str, str]) -> dict[str, Held]:
    """Read values as they were typed, by key. Raises WrongValuesError for all that do not fit."""
    values: dict[str, Held] = {}
    wrong: dict[str, FormError] = {}
    for key, text in texts.items():
        try:
            item, number = split(key)
            product = farm.config.products.get(text) if item.key == "product" else None
            if product is not None:
                values = product_values(product, number) | values
            else:
                values[key] = Held(value=read(item, text, farm.zone), origin="typed in")
        except FormError as error:
            wrong[key] = error
    if wrong:
        raise WrongValuesError(wrong)
    return values


def _check_times(session: Session, record: Record, values: Mapping[str, Held], now: int) -> None:
    """Refuse a start and an end that cannot be, before they are written."""
    new = [key for key in ("ended", "started") if key in values]
    if not new:
        return
    job, stands = jobs.job(session, record.job), record.values | dict(values)
    started = moment(stands["started"].value) if "started" in stands else job.started_at
    ended = moment(stands["ended"].value) if "ended" in stands else job.ended_at or now
    try:
        _check_end(job.id, ended, now)
        check_times(job.id, started=started, ended=ended)
    except RecordError as error:
        raise WrongValuesError({new[0]: FormError(error.text)}) from None


def _check_end(job: int, ended: int, now: int) -> None:
    if ended > now:
        raise RecordError(
            say("job {job} would end only after now; type in when it did end", job=job),
            f"watcher record set {job} ended=…",
        )


def _kept(session: Session, plan: FarmArrays, compose: Compose, record: Record, now: int) -> Kept:
    """What is kept if it still fits when the job was, else what there is to keep now."""
    job = jobs.job(session, record.job)
    started, ended = _span(record, job, now)
    kept = record.kept
    # A step that came in late may have changed what was done between start and end.
    if (
        kept is not None
        and (kept.started, kept.ended) == (started, ended)
        and (kept.rigs, kept.pauses) == rigs_and_pauses(session, job, started)
    ):
        return kept
    return gather(session, plan, compose, job, started=started, ended=ended)


def _span(record: Record, job: Job, now: int) -> tuple[int, int]:
    """When spraying started and ended: as typed in, else as the job log has it."""
    times = {k: moment(h.value) for k, h in record.entered.items() if k in {"started", "ended"}}
    started = times.get("started", job.started_at)
    ended = times.get("ended", now if job.ended_at is None else job.ended_at)
    _check_end(job.id, ended, now)
    return started, ended


def _alert(message: Outgoing) -> AlertSent:
    return AlertSent(
        at=message.created_at,
        kind=message.kind,
        said=message.title or message.body.partition("\n")[0],
        recipient=message.recipient,
        state=message.state,
        sent_at=message.sent_at,
        acknowledged_at=message.acknowledged_at,
        acknowledged_by=message.acknowledged_by,
    )
