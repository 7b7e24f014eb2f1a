"""What the job log, the weather log and the farm file say of a job, gathered for its record."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

import shapely
from sqlalchemy.orm import Session

from watcher.farm.models import FieldPlan, SprayerKind
from watcher.farm.products import Product
from watcher.i18n.message import say
from watcher.jobs import changes
from watcher.jobs.by_hand import EVENT
from watcher.jobs.changes import rig_at
from watcher.jobs.steps import share_begun
from watcher.judge.changed_rig import ChangedRig
from watcher.limits.farm_arrays import FarmArrays
from watcher.records.errors import RecordError
from watcher.records.facts import (
    Held,
    Kept,
    MeasuredByHand,
    Origin,
    Pause,
    Rig,
    RigChanged,
    StartedAgainst,
)
from watcher.records.form import held, local, numbered
from watcher.records.judged_weather import Compose, marks, moment
from watcher.store import jobs
from watcher.store.tables import Job, JobEvent

_LONGEST_S = 48 * 3600


def gather(
    session: Session,
    plan: FarmArrays,
    compose: Compose,
    job: Job,
    *,
    started: int,
    ended: int,
) -> Kept:
    """Gather everything known of a job that lasted from ``started`` to ``ended``.

    Raises RecordError where the farm file has its field or setup no longer, or where it was left
    open for days.
    """
    rigs, pauses = rigs_and_pauses(session, job, started)
    _check(plan, job, rigs, started=started, ended=ended)
    events = jobs.events(session, job.id)
    return Kept(
        farm=plan.farm.config.farm.name,
        time_zone=plan.farm.config.farm.time_zone,
        units=plan.farm.config.farm.units,
        field=job.field,
        state=job.state,
        started=started,
        ended=ended,
        pauses=pauses,
        rigs=rigs,
        boundary=json.loads(shapely.to_geojson(plan.farm.ground.fields_deg[job.field])),
        values=_values(plan, job, rigs, started=started, ended=ended)
        | _part(plan, job, rig_at(job, events, ended), share_begun(jobs.steps(session, job.id))),
        moments=tuple(
            moment(
                session,
                plan,
                compose,
                at=at,
                mark=mark,
                field=job.field,
                setup=_setup_at(rigs, at),
                paused=any(p.since <= at < (p.until or ended) for p in pauses),
                rig=rig_at(job, events, at, _setup_at(rigs, at)),
            )
            for at, mark in marks(started, ended)
        ),
        by_hand=tuple(
            MeasuredByHand(at=e.at, by=e.detail.get("by", ""), said=e.detail["said"])
            for e in events
            if e.what == EVENT
        ),
        changed=tuple(
            RigChanged(at=e.at, by=e.detail.get("by", ""), said=e.detail["said"])
            for e in events
            if e.what == changes.EVENT
        ),
        against=tuple(
            StartedAgainst.model_validate(one)
            for event in events
            for one in event.detail.get("against", ())
        ),
    )


def rigs_and_pauses(
    session: Session, job: Job, started: int
) -> tuple[tuple[Rig, ...], tuple[Pause, ...]]:
    """Return with which setups a job was sprayed, and when it rested, as the job log has it."""
    events = jobs.events(session, job.id)
    return _rigs(job, events, started), _pauses(events)


def product_values(product: Product, number: int) -> dict[str, Held]:
    """Return what the farm file says of a product, as values of the form."""
    values = {
        "product": product.name,
        "registration": product.registration,
        "active": product.active,
        "rate": product.rate,
        "stage_bound": "yes" if product.stage_bound else None,
        "re_entry": product.re_entry,
        "pre_harvest": product.pre_harvest,
    }
    return _held({numbered(key, number): value for key, value in values.items()}, "farm file")


def _check(plan: FarmArrays, job: Job, rigs: Sequence[Rig], *, started: int, ended: int) -> None:
    gone = [say("setup {name}", name=r.setup) for r in rigs if r.setup not in plan.setups]
    gone += [] if job.field in plan.fields else [say("field {name}", name=job.field)]
    if gone:
        raise RecordError(
            say(
                "job {job}: {what} is no longer in the farm file; put it back, or nobody can tell "
                "what was sprayed",
                job=job.id,
                what=gone[0],
            )
        )
    check_times(job.id, started=started, ended=ended)


def check_times(job: int, *, started: int, ended: int) -> None:
    """Check that a job may have lasted so long. Raises RecordError."""
    if ended < started:
        raise RecordError(
            say("job {job} would end before it starts; type in both", job=job),
            f"watcher record set {job} started=… ended=…",
        )
    if ended - started > _LONGEST_S:
        raise RecordError(
            say(
                "job {job} was open for {hours} h; type in when spraying really ended",
                job=job,
                hours=f"{(ended - started) / 3600:.0f}",
            ),
            f"watcher record set {job} ended=…",
        )


def _rigs(job: Job, events: Sequence[JobEvent], started: int) -> tuple[Rig, ...]:
    changes = [e for e in events if e.what == "setup changed"]
    first = changes[0].detail["from"] if changes else job.setup
    return (
        Rig(since=started, setup=first),
        *(Rig(since=max(e.at, started), setup=e.detail["to"]) for e in changes),
    )


def _setup_at(rigs: Sequence[Rig], at: int) -> str:
    return [r for r in rigs if r.since <= at][-1].setup


def _pauses(events: Sequence[JobEvent]) -> tuple[Pause, ...]:
    pauses: list[Pause] = []
    for event in events:
        if event.what == "paused":
            pauses.append(Pause(since=event.at, until=None, why=event.detail.get("why", "")))
        elif pauses and pauses[-1].until is None and event.what in _END_OF_PAUSE:
            pauses[-1] = pauses[-1].model_copy(update={"until": event.at})
    return tuple(pauses)


_USES = {
    SprayerKind.BOOM: "area treatment, ground boom",
    SprayerKind.HOODED_BOOM: "area treatment, hooded ground boom",
    SprayerKind.HAND_HELD: "hand-held sprayer",
    SprayerKind.AIR_BLAST: "air-blast sprayer",
}
_END_OF_PAUSE = {"resumed", "finished", "abandoned"}


def _values(
    plan: FarmArrays, job: Job, rigs: Sequence[Rig], *, started: int, ended: int
) -> dict[str, Held]:
    config, zone = plan.farm.config, plan.farm.zone
    field = config.fields[job.field]
    values = _held(_farm_values(plan, field), "farm file")
    sprayer = config.sprayers[config.setups[rigs[0].setup].sprayer]
    values |= _held({"use": _USES[sprayer.kind]}, "worked out")
    names = [name for name in field.products if name in config.products]
    for number, name in enumerate(names, start=1):
        values |= product_values(config.products[name], number)
    log = {"started": local(started, zone), "ended": local(ended, zone), "note": job.note or None}
    values |= _held(log, "job log")
    for number, rig in enumerate(rigs, start=1):
        for key, value in _rig_values(plan, rig.setup).items():
            values[numbered(key, number)] = value
    return values


def _part(
    plan: FarmArrays, job: Job, rig: ChangedRig | None, begun: float | None
) -> dict[str, Held]:
    """How much of the field was sprayed, as far as that is known.

    ``begun`` is the share of the field the job was begun for; None: all of it. What was finished
    without saying how much is that, but the strips that were agreed to be left.
    """
    area_m2 = plan.farm.ground.area_m2(job.field)
    if job.done_share is None and job.state != "finished":
        return {}  # of an abandoned one nobody has said how much was sprayed
    share = 1.0 if job.done_share is None else job.done_share
    spared = 0.0 if rig is None else rig.unsprayed_share(plan)
    if spared and job.state == "finished" and job.done_share in {None, begun}:
        share = max(share - spared, 0.0)
        part = {"area": area_m2 * share, "part": f"{share:.1%} of the field, but for strips left"}
        return _held(part, "worked out")
    if share < 1.0:
        return _held({"area": area_m2 * share, "part": f"{share:.0%} of the field"}, "job log")
    return _held({"area": area_m2, "part": "whole field"}, "worked out")


def _farm_values(plan: FarmArrays, field: FieldPlan) -> Mapping[str, Any]:
    basics = plan.farm.config.farm
    return {
        "applicator": basics.applicator,
        "certificate": basics.certificate,
        "client": field.client,
        "client_address": field.client_address,
        "location": field.location,
        "parcel": field.parcel,
        "crop": field.crop,
        "eppo": field.eppo,
        "target": field.pests or field.target,
    }


def _rig_values(plan: FarmArrays, name: str) -> dict[str, Held]:
    setup = plan.farm.config.setups[name]
    sprayer = plan.farm.config.sprayers[setup.sprayer]
    of_setup = ("sprayer", "nozzle", "nozzle_size", "droplets", "pressure", "carrier", "adjuvant")
    # What is worked out by the droplet class is claimed for the finest spray of the class only.
    left = float(plan.spray_drift.upper[plan.setups.index(name)])
    reduction_pct = 100.0 * max(1.0 - left, 0.0)
    return _held(
        {"setup": name}
        | {key: getattr(setup, key) for key in of_setup}
        | {"speed": sprayer.speed, "boom_height": sprayer.boom_height},
        "farm file",
    ) | _held(
        {"drift_reduction": reduction_pct},
        "worked out" if setup.drift_reduction is None else "farm file",
    )


def _held(given: Mapping[str, Any], origin: Origin) -> dict[str, Held]:
    return {
        key: Held(value=held(value), origin=origin)
        for key, value in given.items()
        if value is not None
    }
