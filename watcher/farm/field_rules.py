"""All the rules and buffers that hold for a field: of law, of its window, of its tank."""

from collections.abc import Iterator

from watcher.farm.models import FarmFile, Neighbour, Setup
from watcher.farm.origin import Origin
from watcher.farm.rules.buffers import Buffer, Proven
from watcher.farm.rules.calendar import DateRule
from watcher.farm.rules.mix import BufferOf, RuleOf
from watcher.farm.rules.presets import PRESETS


def rules_of(config: FarmFile, field: str) -> tuple[RuleOf, ...]:
    """Return every rule of a field with who brings it; the products of a field are one tank."""
    return tuple(_rules(config, field))


def _rules(config: FarmFile, field: str) -> Iterator[RuleOf]:
    plan = config.fields[field]
    for preset in config.farm.presets:
        yield from (RuleOf(f"preset {preset}", rule) for rule in PRESETS[preset].rules)
    if (window := config.windows.get(plan.window)) is not None:
        yield from (RuleOf(f"window {plan.window}", rule) for rule in window.rules)
    for name in plan.products:
        if (product := config.products.get(name)) is None:
            continue
        of = f"product {name}"
        if product.valid_from is not None or product.valid_until is not None:
            validity = DateRule(
                kind="dates",
                first=product.valid_from,
                last=product.valid_until,
                origin=Origin.LABEL,
                citation="the label's validity",
            )
            yield RuleOf(of, validity)
        yield from (RuleOf(of, rule) for rule in product.rules)


def buffers_of(config: FarmFile, field: str) -> tuple[BufferOf, ...]:
    """Return every buffer of a field with who brings it."""
    plan = config.fields[field]
    found = [
        BufferOf(f"preset {preset}", buffer)
        for preset in config.farm.presets
        for buffer in PRESETS[preset].buffers
    ]
    if (window := config.windows.get(plan.window)) is not None:
        found += [BufferOf(f"window {plan.window}", b) for b in window.buffers]
    for name in plan.products:
        if (product := config.products.get(name)) is not None:
            found += [BufferOf(f"product {name}", b) for b in product.buffers]
    return tuple(found)


def buffers_towards(config: FarmFile, field: str, neighbour: str) -> tuple[BufferOf, ...]:
    """Return the buffers of a field that protect one neighbour, its own distance among them."""
    protected = config.neighbours[neighbour]
    found = [b for b in buffers_of(config, field) if set(b.buffer.protects) & set(protected.kinds)]
    if protected.no_spray_distance:
        own = Buffer(protects=(neighbour,), inside="anything").model_copy(
            update={"base": protected.no_spray_distance}
        )
        found.append(BufferOf(f"neighbour {neighbour}", own))
    return tuple(found)


def proven(config: FarmFile, field: str, setup: Setup, neighbour: Neighbour) -> Proven:
    """Return what the farm file proves of a setup on a field beside a neighbour."""
    doses = [
        p.dose_share
        for name in config.fields[field].products
        if (p := config.products.get(name)) is not None and p.retardant is None
    ]
    known = [d for d in doses if d is not None]
    return Proven(
        measures=frozenset({*setup.measures, *config.fields[field].land}),
        beside=frozenset(neighbour.land),
        # Of several products the one nearest to its largest dose; one that does not say is unknown.
        dose_share_pct=max(known) if known and len(known) == len(doses) else None,
        water_width_m=neighbour.water_width,
        droplets=setup.droplets,
        boom_height_m=config.sprayers[setup.sprayer].boom_height,
        drift_class_pct=setup.drift_class,
        pressure_pa=setup.pressure,
    )
