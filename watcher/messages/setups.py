"""What each setup of a field means and costs, in the farm's units."""

import math
from collections.abc import Iterator

from watcher.farm.models import Adjuvant, NozzleKind, Origin, SprayerKind
from watcher.i18n.message import Message, Name, Number, ShownQuantity, joined, say
from watcher.judge.setup_advice import (
    Advice,
    NozzleNeed,
    RetardantUse,
    SetupAdvice,
    WeedControl,
    Work,
    cost,
)
from watcher.limits.status import Status
from watcher.messages.drift import up_to
from watcher.messages.reasons import Speaker
from watcher.messages.vocabulary import (
    ADJUVANT_WORDS,
    DROPLET_WORDS,
    NOZZLE_COLOURS,
    NOZZLE_WORDS,
    ORIGIN_WORDS,
    SPRAYER_WORDS,
    STATUS_WORDS,
)
from watcher.messages.words import SHAPES, span
from watcher.units import Kind, System, amount


def advice_lines(speaker: Speaker, advice: Advice) -> list[Message]:
    """Return which setup to use and what each other one would cost."""
    chosen = advice.chosen
    use = say("use this") if advice.recommended else say("not open, but it comes closest")
    return [_line(chosen, [use, _costs(chosen)]), *_others(speaker, advice)]


def _others(speaker: Speaker, advice: Advice) -> Iterator[Message]:
    for other in advice.others:
        parts = [_costs(other), _against(other, advice.chosen)]
        if other.status < Status.MARGINAL:
            parts.insert(0, speaker.reason(advice.field, other.reasons[0]))
        yield _line(other, parts)


def _line(advice: SetupAdvice, parts: list[Message]) -> Message:
    return say(
        "{shape} {setup}, {status}: {what}",
        shape=SHAPES[advice.status],
        setup=Name(advice.name),
        status=STATUS_WORDS[advice.status],
        what=joined(parts, "; "),
    )


def _costs(advice: SetupAdvice) -> Message:
    exposes = _exposes(advice)
    return _loses(advice) if exposes is None else joined([_loses(advice), exposes])


def _loses(advice: SetupAdvice) -> Message:
    control = advice.control
    if round(control.judged_pct) == 0:
        return say("loses no weed control")
    return say(
        "loses up to {loss} of weed control here (the field stands {tolerated}, {origin})",
        loss=f"{control.judged_pct:.0f}%",
        tolerated=f"{control.tolerated_pct:.0f}%",
        origin=ORIGIN_WORDS[control.origin],
    )


def _exposes(advice: SetupAdvice) -> Message | None:
    worst = advice.worst
    if worst is None or math.isinf(worst.tolerance_pct) or worst.upper_pct == 0:
        return None
    if math.isnan(worst.upper_pct):
        return say("drift onto {who} unknown", who=Name(worst.neighbour))
    return say(
        "{share} of the rate on {who}", share=up_to(worst.upper_pct), who=Name(worst.neighbour)
    )


def _against(other: SetupAdvice, chosen: SetupAdvice) -> Message:
    costs = cost(other, chosen)
    points = round(costs.loss_pct)
    differences: list[Message] = []
    if points > 0:
        differences.append(say("{n} points less control", n=points))
    elif points < 0:
        differences.append(say("{n} points more control", n=-points))
    if math.isfinite(costs.exposure) and f"{costs.exposure:.2g}" != "1":
        times = Number(f"{costs.exposure:.2g}")
        differences.append(say("{n} times the drift", n=times))
    if costs.duration_s >= 60:
        differences.append(say("{span} longer", span=span(costs.duration_s)))
    elif costs.duration_s <= -60:
        differences.append(say("{span} quicker", span=span(-costs.duration_s)))
    return say(
        "against {setup} {differences}",
        setup=Name(chosen.name),
        differences=joined(differences) if differences else say("no difference"),
    )


def setup_lines(speaker: Speaker, advice: SetupAdvice) -> list[Message]:
    """Return what one setup asks of nozzles, tank, time and weeds."""
    system = speaker.system
    control = advice.control
    kind = speaker.farm.config.sprayers[advice.setup.sprayer].kind
    return [
        # The flow a nozzle must give follows from the spacing of a boom's.
        *(_nozzle_lines(advice, system) if kind.has_boom else ()),
        *_work_lines(advice.work, speaker, advice),
        *_drift_lines(advice, kind),
        _loss_line(control),
        *_retardant_lines(advice.retardant),
    ]


def _loss_line(control: WeedControl) -> Message:
    grasses, broadleaves = _range(control.grasses_pct), _range(control.broadleaves_pct)
    if control.estimate is Origin.OWN:
        return say(
            "Loses {grasses} of grass control and {broadleaves} of broadleaf control; judged by "
            "your estimate.",
            grasses=grasses,
            broadleaves=broadleaves,
        )
    return say(
        "Loses {grasses} of grass control and {broadleaves} of broadleaf control "
        "(common practice, no source).",
        grasses=grasses,
        broadleaves=broadleaves,
    )


def _range(pct: tuple[float, float]) -> Message:
    low, high = (f"{p:.0f}" for p in pct)
    if low == high:
        return Number(f"{low}%")
    return say("{first} to {last}", first=low, last=f"{high}%")


def _nozzle_lines(advice: SetupAdvice, system: System) -> Iterator[Message]:
    need, setup = advice.nozzle, advice.setup
    size: Message = say(
        "size {code} ({colour})", code=need.size.code, colour=NOZZLE_COLOURS[need.size.colour]
    )
    if not need.mounted:
        size = say("nearest is {size}", size=size)
    yield say(
        "Each nozzle must give {flow}: {size} at {pressure}.",
        flow=ShownQuantity(need.flow_l_min, Kind.FLOW, system),
        size=size,
        pressure=_pressure(need.pressure_pa, system),
    )
    if not need.in_range:
        yield _out_of_range(need, setup.nozzle, system)
    droplets: Message = say("Droplets {size}", size=DROPLET_WORDS[need.droplets])
    if need.droplets is not setup.droplets:
        wanted = say("not {size} as given", size=DROPLET_WORDS[setup.droplets])
        droplets = joined([droplets, wanted])
    finer_above = ShownQuantity(need.finer_above_m_s, Kind.SPEED, system, 1)
    finer = say("at this rate one class finer above {speed}.", speed=finer_above)
    yield joined([droplets, finer], "; ")


def _out_of_range(need: NozzleNeed, kind: NozzleKind, system: System) -> Message:
    low, high = need.working_pa
    least = amount(low, Kind.PRESSURE, system)
    return say(
        "That pressure is outside what {kind} nozzles are made for, {least} to {most}.",
        kind=NOZZLE_WORDS[kind],
        least=Number(f"{least:.{_pressure_decimals(system)}f}"),
        most=_pressure(high, system),
    )


def _pressure(pressure_pa: float, system: System) -> Message:
    return ShownQuantity(pressure_pa, Kind.PRESSURE, system, _pressure_decimals(system))


def _pressure_decimals(system: System) -> int:
    return 0 if system == "us" else 1


def _work_lines(work: Work, speaker: Speaker, advice: SetupAdvice) -> Iterator[Message]:
    system = speaker.system
    sprayer = speaker.farm.config.sprayers[advice.setup.sprayer]
    if work.loads.full:
        yield say(
            "Tank: {n} full of {tank}, each for {area}: {doses} times the dose per {unit}.",
            n=work.loads.full,
            tank=ShownQuantity(sprayer.tank, Kind.VOLUME, system),
            area=_area(work.full_load_m2, system),
            doses=_doses(work.full_load_m2, system),
            unit=Kind.AREA.shown[system],
        )
    if work.loads.last_l:
        yield say(
            "Last load: {volume} for {area}: {doses} times the dose per {unit}.",
            volume=ShownQuantity(work.loads.last_l, Kind.VOLUME, system),
            area=_area(work.last_load_m2, system),
            doses=_doses(work.last_load_m2, system),
            unit=Kind.AREA.shown[system],
        )
    yield say(
        "Work rate {area}/h; the field takes {span} with fills.",
        area=ShownQuantity(work.rate_m2_s * 3600.0, Kind.AREA, system),
        span=span(work.duration_s),
    )


def _area(area_m2: float, system: System) -> Message:
    return ShownQuantity(area_m2, Kind.AREA, system, 1)


def _doses(area_m2: float, system: System) -> Message:
    return Number(f"{amount(area_m2, Kind.AREA, system):.1f}")


def _drift_lines(advice: SetupAdvice, kind: SprayerKind) -> Iterator[Message]:
    if not kind.has_boom:
        yield say(
            "Drift is not estimated for this kind of sprayer ({kind}): the published curves are of "
            "ground booms. Where a neighbour who minds may be reached it stays unknown.",
            kind=SPRAYER_WORDS[kind],
        )
        return
    yield _drift_line(advice)
    if kind is SprayerKind.HOODED_BOOM and advice.setup.drift_reduction is None:
        yield say(
            "The hood is not counted in that: write drift_reduction where yours was tested with it."
        )


def _drift_line(advice: SetupAdvice) -> Message:
    if advice.setup.drift_reduction is None:
        return say(
            "Drift {share} of the reference nozzle's, up to {most} for the finest spray of its "
            "class (estimated from the drop sizes of the class).",
            share=f"{advice.drift:.0%}",
            most=f"{advice.drift_upper:.0%}",
        )
    reduction: Message = say("Drift reduction {share}", share=f"{1 - advice.drift:.0%}")
    if advice.drift_class is not None:
        iso = say("class {letter} of ISO 22369", letter=str(advice.drift_class))
        reduction = joined([reduction, iso])
    return say("{reduction}, as given in the farm file.", reduction=reduction)


def _retardant_lines(use: RetardantUse | None) -> Iterator[Message]:
    if use is None:
        return
    yield say(
        "Drift retardant {which}: start at a third to a half of the full rate, raise "
        "it load by load, never above the label's maximum (common practice, no source).",
        which=ADJUVANT_WORDS[use.adjuvant],
    )
    if use.adjuvant is Adjuvant.POLYACRYLAMIDE:
        yield say(
            "The pump shears it to nothing within about an hour of recirculation: "
            "{share} of its effect is left at the end of a load.",
            share=f"{use.left_after_load:.0%}",
        )
