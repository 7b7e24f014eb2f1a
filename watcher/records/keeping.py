"""What the job log, the weather log and the farm file say of a job, gathered for its record."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

import shapely
from sqlalchemy.orm import Session

from watcher.farm.models import FieldPlan
from watcher.farm.products import Product
from watcher.judge.plan import Plan
from watcher.records.errors import RecordError
from watcher.records.facts import Held, Kept, Origin, Pause, Rig
from watcher.records.form import held, local, numbered
from watcher.records.moments import Compose, marks, moment
from watcher.store import jobs
from watcher.store.tables import Job, JobEvent

_LONGEST_S = 48 * 3600


def gather(
    session: Session,
    plan: Plan,
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
    events = jobs.events(session, job.id)
    rigs, pauses = _rigs(job, events, started), _pauses(events)
    _check(plan, job, rigs, started=started, ended=ended)
    return Kept(
        farm=plan.farm.told.farm.name,
        time_zone=plan.farm.told.farm.time_zone,
        units=plan.farm.told.farm.units,
        field=job.field,
        state=job.state,
        started=started,
        ended=ended,
        pauses=pauses,
        rigs=rigs,
        boundary=json.loads(shapely.to_geojson(plan.farm.ground.fields_deg[job.field])),
        values=_values(plan, job, rigs, started=started, ended=ended),
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
            )
            for at, mark in marks(started, ended)
        ),
    )


def product_values(product: Product, number: int) -> dict[str, Held]:
    """Return what the farm file says of a product, as values of the form."""
    told = {
        "product": product.name,
        "registration": product.registration,
        "rate": product.rate,
        "stage_bound": "yes" if product.stage_bound else None,
    }
    return _held({numbered(key, number): value for key, value in told.items()}, "farm file")


def _check(plan: Plan, job: Job, rigs: Sequence[Rig], *, started: int, ended: int) -> None:
    gone = [f"setup {r.setup}" for r in rigs if r.setup not in plan.setups]
    gone += [] if job.field in plan.fields else [f"field {job.field}"]
    if gone:
        raise RecordError(
            f"job {job.id}: {gone[0]} is no longer in the farm file; put it back, or nobody can "
            "tell what was sprayed"
        )
    if ended < started:
        raise RecordError(
            f"job {job.id} would end before it starts; type in both",
            f"watcher record set {job.id} started=… ended=…",
        )
    if ended - started > _LONGEST_S:
        raise RecordError(
            f"job {job.id} was open for {(ended - started) / 3600:.0f} h; type in when spraying "
            "really ended",
            f"watcher record set {job.id} ended=…",
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


_END_OF_PAUSE = {"resumed", "finished", "abandoned"}


def _values(
    plan: Plan, job: Job, rigs: Sequence[Rig], *, started: int, ended: int
) -> dict[str, Held]:
    told, zone = plan.farm.told, plan.farm.zone
    field = told.fields[job.field]
    values = _held(_farm_values(plan, field), "farm file")
    values |= _held({"use": "area treatment, ground boom"}, "worked out")
    if job.state == "finished":  # of an abandoned one nobody knows how much was sprayed
        whole = {"area": plan.farm.ground.area_m2(job.field), "part": "whole field"}
        values |= _held(whole, "worked out")
    names = [name for name in field.products if name in told.products]
    for number, name in enumerate(names, start=1):
        values |= product_values(told.products[name], number)
    log = {"started": local(started, zone), "ended": local(ended, zone), "note": job.note or None}
    values |= _held(log, "job log")
    for number, rig in enumerate(rigs, start=1):
        for key, value in _rig_values(plan, rig.setup).items():
            values[numbered(key, number)] = value
    return values


def _farm_values(plan: Plan, field: FieldPlan) -> Mapping[str, Any]:
    basics = plan.farm.told.farm
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


def _rig_values(plan: Plan, name: str) -> dict[str, Held]:
    setup = plan.farm.told.setups[name]
    sprayer = plan.farm.told.sprayers[setup.sprayer]
    of_setup = ("sprayer", "nozzle", "nozzle_size", "droplets", "pressure", "carrier", "adjuvant")
    reduction_pct = 100.0 * float(plan.drift_reduction[plan.setups.index(name)])
    return _held(
        {"setup": name}
        | {key: getattr(setup, key) for key in of_setup}
        | {"speed": sprayer.speed, "boom_height": sprayer.boom_height},
        "farm file",
    ) | _held(
        {"drift_reduction": reduction_pct},
        "worked out" if setup.drift_reduction is None else "farm file",
    )


def _held(told: Mapping[str, Any], origin: Origin) -> dict[str, Held]:
    return {
        key: Held(value=held(value), origin=origin)
        for key, value in told.items()
        if value is not None
    }
