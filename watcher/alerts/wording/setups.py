"""What each setup of a field means and costs, in the farm's units."""

import math
from collections.abc import Iterator

from watcher.alerts.wording.drift import up_to
from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.words import SHAPES, name, span
from watcher.farm.models import Adjuvant
from watcher.judge.setup_advice import Advice, NozzleNeed, RetardantUse, SetupAdvice, Work, cost
from watcher.judge.status import Status
from watcher.units import Kind, System, show

_M2_PER_HA = 1e4


def advice_lines(speaker: Speaker, advice: Advice) -> list[str]:
    """Return which setup to use and what each other one would cost."""
    chosen = advice.chosen
    head = f"{SHAPES[chosen.status]} {name(chosen.name)}, {chosen.status.word}: "
    head += "use this" if advice.recommended else "not open, but it comes closest"
    return [f"{head}; {_loses(chosen)}{_exposes(chosen)}", *_others(speaker, advice)]


def _others(speaker: Speaker, advice: Advice) -> Iterator[str]:
    for other in advice.others:
        said = f"{SHAPES[other.status]} {name(other.name)}, {other.status.word}: "
        if other.status < Status.MARGINAL:
            said += f"{speaker.reason(advice.field, other.reasons[0])}; "
        yield f"{said}{_loses(other)}{_exposes(other)}{_against(other, advice.chosen)}"


def _loses(advice: SetupAdvice) -> str:
    control = advice.control
    if round(control.judged_pct) == 0:
        return "loses no weed control"
    return (
        f"loses up to {control.judged_pct:.0f}% of weed control here "
        f"(the field stands {control.tolerated_pct:.0f}%)"
    )


def _exposes(advice: SetupAdvice) -> str:
    worst = advice.worst
    if worst is None or math.isinf(worst.tolerance_pct) or worst.upper_pct == 0:
        return ""
    if math.isnan(worst.upper_pct):
        return f", drift onto {name(worst.neighbour)} unknown"
    return f", {up_to(worst.upper_pct)} of the rate on {name(worst.neighbour)}"


def _against(other: SetupAdvice, chosen: SetupAdvice) -> str:
    costs = cost(other, chosen)
    points = round(costs.loss_pct)
    said = [f"{abs(points)} points {'less' if points > 0 else 'more'} control"] if points else []
    if math.isfinite(costs.exposure) and f"{costs.exposure:.2g}" != "1":
        said.append(f"{costs.exposure:.2g} times the drift")
    if abs(costs.duration_s) >= 60:
        longer = "longer" if costs.duration_s > 0 else "quicker"
        said.append(f"{span(abs(costs.duration_s))} {longer}")
    return f"; against {name(chosen.name)} {', '.join(said) or 'no difference'}"


def setup_lines(speaker: Speaker, advice: SetupAdvice) -> list[str]:
    """Return what one setup asks of nozzles, tank, time and weeds."""
    system = speaker.system
    control = advice.control
    return [
        *_nozzle_lines(advice, system),
        *_work_lines(advice.work, speaker, advice),
        _drift_line(advice),
        f"Loses {_range(control.grasses_pct)} of grass control and "
        f"{_range(control.broadleaves_pct)} of broadleaf control (common practice, no source).",
        *_retardant_lines(advice.retardant),
    ]


def _range(pct: tuple[float, float]) -> str:
    low, high = (f"{p:.0f}" for p in pct)
    return f"{low}%" if low == high else f"{low} to {high}%"


def _nozzle_lines(advice: SetupAdvice, system: System) -> Iterator[str]:
    need, told = advice.nozzle, advice.setup
    size = f"size {need.size.code} ({need.size.colour})"
    pressure = _pressure(need.pressure_pa, system)
    yield (
        f"Each nozzle must give {show(need.flow_l_min, Kind.FLOW, system)}: "
        f"{size if need.mounted else f'nearest is {size}'} at {pressure}."
    )
    if not need.in_range:
        yield _out_of_range(need, told.nozzle.value, system)
    yield (
        f"Droplets {need.droplets.words}"
        + ("" if need.droplets is told.droplets else f", not {told.droplets.words} as told")
        + f"; at this rate one class finer above "
        f"{show(need.finer_above_m_s, Kind.SPEED, system, 1)}."
    )


def _out_of_range(need: NozzleNeed, kind: str, system: System) -> str:
    low, high = (_pressure(p, system) for p in need.working_pa)
    least = low.split()[0]
    return f"That pressure is outside what {kind} nozzles are made for, {least} to {high}."


def _pressure(pressure_pa: float, system: System) -> str:
    return show(pressure_pa, Kind.PRESSURE, system, 0 if system == "us" else 1)


def _work_lines(work: Work, speaker: Speaker, advice: SetupAdvice) -> Iterator[str]:
    system = speaker.system
    told = speaker.farm.told.sprayers[advice.setup.sprayer]
    if work.loads.full:
        yield (
            f"Tank: {work.loads.full} full of {show(told.tank, Kind.VOLUME, system)}, each for "
            f"{_area(work.full_load_m2, system)}{_dose(work.full_load_m2, system)}."
        )
    if work.loads.last_l:
        yield (
            f"Last load: {show(work.loads.last_l, Kind.VOLUME, system)} for "
            f"{_area(work.last_load_m2, system)}{_dose(work.last_load_m2, system)}."
        )
    rate = show(work.rate_m2_s * 3600.0, Kind.AREA, system)
    yield f"Work rate {rate}/h; the field takes {span(work.duration_s)} with fills."


def _area(area_m2: float, system: System) -> str:
    return show(area_m2, Kind.AREA, system, 1)


def _dose(area_m2: float, system: System) -> str:
    number, unit = _area(area_m2, system).split()
    return f": {number} times the dose per {unit}"


def _drift_line(advice: SetupAdvice) -> str:
    said = f"Drift reduction {advice.drift_reduction:.0%}"
    if advice.drift_class is not None:
        said += f", class {advice.drift_class} of ISO 22369"
    told = advice.setup.drift_reduction is not None
    return said + (
        ", as told." if told else ", by the kind of nozzle (common practice, no source)."
    )


def _retardant_lines(use: RetardantUse | None) -> Iterator[str]:
    if use is None:
        return
    yield (
        f"Drift retardant {use.adjuvant.value}: start at a third to a half of the full rate, raise "
        "it load by load, never above the label's maximum (common practice, no source)."
    )
    if use.adjuvant is Adjuvant.POLYACRYLAMIDE:
        yield (
            "The pump shears it to nothing within about an hour of recirculation: "
            f"{use.left_after_load:.0%} of its effect is left at the end of a load."
        )
