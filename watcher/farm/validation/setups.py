"""Setups that cannot be meant: drops that the nozzle does not make, pressures no pump gives."""

from collections.abc import Iterator

from watcher.farm.dose import Dose, UnlikeDosesError
from watcher.farm.models import DropletClass, NozzleKind, Setup, Sprayer, SprayerKind
from watcher.farm.problems import Problem
from watcher.farm.read_file import Draft
from watcher.farm.validation_messages import assigned, dotted
from watcher.i18n.message import ShownQuantity, say
from watcher.units import Kind

# Classes a nozzle of each kind can make at its working pressures, wide (common practice, no
# source): only there to catch a mistake between two setups.
_MAKES = {
    NozzleKind.FLAT_FAN: (DropletClass.EXTREMELY_FINE, DropletClass.VERY_COARSE),
    NozzleKind.PRE_ORIFICE: (DropletClass.FINE, DropletClass.EXTREMELY_COARSE),
    NozzleKind.TURBULENCE_CHAMBER: (DropletClass.FINE, DropletClass.ULTRA_COARSE),
    NozzleKind.AIR_INDUCTION: (DropletClass.MEDIUM, DropletClass.ULTRA_COARSE),
    NozzleKind.HOLLOW_CONE: (DropletClass.EXTREMELY_FINE, DropletClass.COARSE),
}
# What a person does on foot (common practice, no source): only there to catch a mistake.
_WALKS_M_S, _REACHES_M = 2.5, 6.0
_RATED_PA = 3e5
_PRESSURES_PA = (0.7e5, 8e5)  # 10 to 116 psi at the nozzle (common practice, no source)
_PRESSURE_SLACK = 0.25  # size ±5 % in flow is ±10 % in pressure; the rest is gauges and lines


def setup_problems(draft: Draft) -> Iterator[Problem]:
    """Droplets against the nozzle's kind, the rate against nozzle size and pressure, and tips."""
    yield from _kind_problems(draft)
    yield from _retardant_problems(draft)
    yield from _tip_problems(draft)
    for name, setup in draft.config.setups.items():
        finest, coarsest = _MAKES[setup.nozzle]
        if not finest <= setup.droplets <= coarsest:
            key = assigned(("setups", name, "droplets"), setup.droplets.words)
            wrong = say(
                '"{nozzle}" nozzles make "{finest}" to "{coarsest}" drops',
                nozzle=setup.nozzle.value,
                finest=finest.words,
                coarsest=coarsest.words,
            )
            mend = say("look it up in the nozzle's chart at this pressure")
            yield draft.problem(key, wrong, mend)
        sprayer = draft.config.sprayers.get(setup.sprayer)
        if sprayer is not None and sprayer.kind.has_boom and setup.nozzle_size is not None:
            yield from _pressure_problems(draft, name, setup, sprayer)


def _retardant_problems(draft: Draft) -> Iterator[Problem]:
    """Drift retardants at a rate over their own label's maximum."""
    for name, product in draft.config.products.items():
        if product.retardant is None or product.rate is None:
            continue
        most = product.retardant.most
        key = assigned(("products", name, "rate"), product.rate)
        try:
            over = Dose.read(product.rate).over(Dose.read(most))
        except UnlikeDosesError:
            wrong = say("cannot be compared with retardant.most = {most}", most=most)
            yield draft.problem(key, wrong, say("write both as a volume, or both as a weight"))
            continue
        if over:
            wrong = say("is over its label's maximum, retardant.most = {most}", most=most)
            yield draft.problem(key, wrong, say("never above the label's maximum: lower it"))


def _kind_problems(draft: Draft) -> Iterator[Problem]:
    """What a kind of sprayer cannot have, or cannot do."""
    for name, sprayer in draft.config.sprayers.items():
        if sprayer.kind.has_boom:
            continue
        if sprayer.lowest_boom is not None:
            wrong = say("means nothing for a sprayer without a boom")
            key = dotted(("sprayers", name, "lowest_boom"))
            yield draft.problem(key, wrong, say("take it out"))
        if sprayer.kind is not SprayerKind.HAND_HELD:
            continue
        for key, value, most, kind in (
            ("speed", sprayer.speed, _WALKS_M_S, Kind.SPEED),
            ("boom_width", sprayer.boom_width, _REACHES_M, Kind.LENGTH),
        ):
            if value > most:
                wrong = say(
                    "nobody carries a sprayer so fast or sprays so wide by hand: {most} at most",
                    most=ShownQuantity(most, kind, draft.config.farm.units, 1),
                )
                mend = say('check it, or write kind = "boom"')
                steps = ("sprayers", name, key)
                yield draft.problem(assigned(steps, draft.at(*steps)), wrong, mend)


def _tip_problems(draft: Draft) -> Iterator[Problem]:
    """Tips on the bodies of a sprayer that are another sprayer's setup."""
    for name, sprayer in draft.config.sprayers.items():
        for tips in sprayer.tips:
            setup = draft.config.setups.get(tips)
            if setup is not None and setup.sprayer != name:
                wrong = say("[setups.{setup}] is of another sprayer", setup=tips)
                mend = say("name setups of this sprayer only")
                yield draft.problem(assigned(("sprayers", name, "tips"), tips), wrong, mend)


def needed_pressure_pa(setup: Setup, sprayer: Sprayer) -> float:
    """Return the pressure at which the setup's nozzles give its carrier at the sprayer's speed.

    ISO 10625: the size code is the flow at 40 psi in tenths of a US gallon a minute, sold as
    0.4 L/min at 3 bar for "01". Flow grows with the square root of the pressure.
    """
    flow_l_min = setup.carrier / 1e4 * sprayer.speed * 60.0 * sprayer.nozzle_spacing
    rated_l_min = 40.0 * float(f"0.{setup.nozzle_size}")
    return float(_RATED_PA * (flow_l_min / rated_l_min) ** 2)


def _pressure_problems(
    draft: Draft, name: str, setup: Setup, sprayer: Sprayer
) -> Iterator[Problem]:
    needed = needed_pressure_pa(setup, sprayer)
    system = draft.config.farm.units
    wrong = say(
        'this carrier through size "{size}" nozzles takes {pressure}',
        size=str(setup.nozzle_size),
        pressure=ShownQuantity(needed, Kind.PRESSURE, system, None if system == "us" else 1),
    )
    mend = say("check carrier, nozzle_size, and the sprayer's speed and nozzle_spacing")
    if not _PRESSURES_PA[0] <= needed <= _PRESSURES_PA[1]:
        yield draft.problem(dotted(("setups", name, "nozzle_size")), wrong, mend)
    elif setup.pressure and abs(needed / setup.pressure - 1.0) > _PRESSURE_SLACK:
        steps = ("setups", name, "pressure")
        yield draft.problem(assigned(steps, draft.at(*steps)), wrong, mend)
