"""What is changed on the sprayer and left in the field during a job: written, read, folded."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy.orm import Session

from watcher.farm.dose import Dose, UnlikeDosesError
from watcher.farm.models import Adjuvant, NozzleKind
from watcher.i18n.message import Message, joined, say
from watcher.judge.changed_rig import ChangedRig
from watcher.limits.farm_arrays import FarmArrays
from watcher.store import jobs
from watcher.store.tables import Job, JobEvent
from watcher.units import Kind, read

CHANGED = ("retardant", "rate", "boom", "speed", "strip", "beside")
"""What a change says, by its name on every surface."""
CHANGED_WORDS: dict[str, Message] = {
    "retardant": say("retardant added"),
    "rate": say("at the rate"),
    "boom": say("boom at"),
    "speed": say("speed"),
    "strip": say("strip left"),
    "beside": say("beside"),
}
EVENT = "rig changed"
_HEIGHTS_M, _SPEEDS_M_S, _DEPTH_M = (0.1, 3.0), (0.2, 12.0), (0.1, 2000.0)


def understood(plan: FarmArrays, job: Job, written: Mapping[str, str]) -> dict[str, Any]:
    """Return a written change as values, SI. Raises ValueError, saying what would do."""
    found: dict[str, Any] = {}
    if (text := written.get("boom")) is not None:
        found["boom_height_m"] = _quantity(text, "boom", Kind.SMALL_LENGTH, _HEIGHTS_M)
    if (text := written.get("speed")) is not None:
        found["speed_m_s"] = _quantity(text, "speed", Kind.SPEED, _SPEEDS_M_S)
    if (text := written.get("retardant")) is not None:
        if not written.get("rate"):
            raise ValueError("say at which rate the retardant was added, as on its label")
        found["retardant"] = _retardant(plan, text, written["rate"])
    elif written.get("rate"):
        raise ValueError("a rate is of a retardant; say which was added")
    if (text := written.get("strip")) is not None:
        found["strips"] = {_beside(plan, job, written.get("beside", "")): _depth(plan, job, text)}
    elif written.get("beside"):
        raise ValueError("say how wide a strip was left, such as 60 ft, or how many passes")
    if not found:
        raise ValueError(f"nothing was changed; write one of {', '.join(CHANGED)}")
    return found


def retardants(plan: FarmArrays) -> list[str]:
    """Return what may be named as a retardant: products of the farm file, then the kinds."""
    products = plan.farm.config.products.items()
    known = [name for name, product in products if product.retardant is not None]
    return known + [kind.value for kind in Adjuvant if kind is not Adjuvant.NONE]


def _retardant(plan: FarmArrays, text: str, rate: str) -> dict[str, Any]:
    known = retardants(plan)
    if text not in known:
        raise ValueError(f"{text[:40]!r} is no drift retardant; known are {', '.join(known)}")
    product = plan.farm.config.products.get(text)
    if product is None or product.retardant is None:
        return {"adjuvant": text, "additives": []}
    retardant = product.retardant
    _within_label(rate, retardant.most)
    called = [*retardant.called, product.name]
    return {"adjuvant": retardant.adjuvant.value, "additives": called}


def _within_label(rate: str, most: str) -> None:
    """Check the rate of a retardant against its label's maximum. Raises ValueError."""
    try:
        over = Dose.read(rate).over(Dose.read(most))
    except UnlikeDosesError:
        raise ValueError(
            f"the rate {rate[:40]!r} cannot be compared with the label's maximum, {most}; write "
            "it in the same kind of unit"
        ) from None
    if over:
        raise ValueError(
            f"the rate {rate[:40]!r} is over the label's maximum, {most}; nothing was kept. If so "
            "much is in the tank already, do not spray it: look at the label"
        )


def neighbours_in_reach(plan: FarmArrays, field: str) -> list[str]:
    """Return the neighbours in reach of a field."""
    if field not in plan.fields:
        return []
    names, own = list(plan.farm.config.neighbours), plan.fields.index(field)
    return [names[n] for n in plan.reach.pair_neighbour[plan.reach.pair_field == own]]


def _quantity(text: str, name: str, kind: Kind, within: tuple[float, float]) -> float:
    value = read(text, kind)
    if not within[0] <= value <= within[1]:
        raise ValueError(f"{name} {text[:40]!r} cannot be; look at the number and its unit")
    return value


def _depth(plan: FarmArrays, job: Job, text: str) -> float:
    """The depth of a strip: a length, or a number of passes of the boom. [m]"""
    first, _, rest = text.strip().partition(" ")
    if first.isdecimal() and rest.strip() in {"", "pass", "passes"}:
        config = plan.farm.config
        depth = int(first) * config.sprayers[job.sprayer].boom_width
        if not _DEPTH_M[0] <= depth <= _DEPTH_M[1]:
            raise ValueError(f"strip {text[:40]!r} cannot be; look at the number")
        return depth
    return _quantity(text, "strip", Kind.LENGTH, _DEPTH_M)


def _beside(plan: FarmArrays, job: Job, name: str) -> str:
    """The neighbour a strip is left beside; the only one in reach where none is named."""
    names = list(plan.farm.config.neighbours)
    if name in names:
        return name
    near = neighbours_in_reach(plan, job.field)
    if not name and len(near) == 1:
        return near[0]
    listed = ", ".join(near or names) or "none"
    raise ValueError(f"say beside which neighbour the strip is left; there are {listed}")


def counts_for(plan: FarmArrays, job: Job, changed: Mapping[str, Any]) -> Message | None:
    """Return what a retardant that was added counts for, where that is not all it is sold for."""
    retardant = changed.get("retardant")
    if retardant is None:
        return None
    counts = _counts_for(plan, job, retardant)
    if retardant["additives"]:
        return counts
    unknown = say("its label's maximum is not in the farm file: look at the label yourself")
    return joined([counts, unknown], "; ")


def _counts_for(plan: FarmArrays, job: Job, retardant: Mapping[str, Any]) -> Message:
    if plan.farm.config.setups[job.setup].nozzle is NozzleKind.AIR_INDUCTION:
        return say("a retardant counts for nothing with air-induction tips")
    if retardant["adjuvant"] == Adjuvant.POLYACRYLAMIDE:
        return say(
            "its credit fades to nothing within the hour of pumping, and it never counts towards "
            "a label's droplets"
        )
    return say("it never counts towards a label's droplets")


def rig_at(job: Job, events: Sequence[JobEvent], at: int, setup: str = "") -> ChangedRig | None:
    """Return a job's rig as it was at a moment; None where it is all as it was planned.

    With the strips that were agreed to at its start.
    """
    values: dict[str, Any] = {}
    strips: dict[str, float] = {}
    agreed: dict[str, float] = {}
    for event in (e for e in events if e.at <= at):
        agreed |= event.detail.get("strips", {})
        changed = event.detail.get("changed", {})
        for key in ("boom_height_m", "speed_m_s"):
            if key in changed:
                values[key] = float(changed[key])
        if "retardant" in changed:
            values["adjuvant"] = Adjuvant(changed["retardant"]["adjuvant"])
            values["additives"] = tuple(changed["retardant"]["additives"])
            values["added_at"] = event.at
        strips |= changed.get("strips", {})
    if not (values or strips or agreed):
        return None
    return ChangedRig(job.field, setup or job.setup, **values, strips=strips, agreed=agreed)


def changed_rigs(session: Session, now: int) -> list[ChangedRig]:
    """Return the rigs of the open jobs that were changed by then. [epoch s]"""
    found = (rig_at(job, jobs.events(session, job.id), now) for job in jobs.open_jobs(session))
    return [rig for rig in found if rig is not None]
