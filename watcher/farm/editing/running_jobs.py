"""A changed farm with what running jobs go by left as it was when they began."""

from collections.abc import Collection
from dataclasses import replace

from watcher.farm import Farm


def holding(old: Farm, new: Farm, fields: Collection[str]) -> Farm:
    """Return ``new`` with the rules of the ``fields`` in a job as they are in ``old``.

    Held are each field's entry and boundary, its window, its products, setups and sprayers, the
    neighbours there were, the numbers of the judgement and the laws chosen. What is new beside a
    field counts for its job as well: nobody is sprayed because a job began before.
    """
    held = [name for name in fields if name in old.config.fields]
    if not held:
        return new
    before, after = old.config, new.config
    entries = {name: before.fields[name] for name in held}
    windows = {entry.window for entry in entries.values()}
    products = {name for entry in entries.values() for name in entry.products}
    setups = {
        name
        for entry in entries.values()
        for name in (entry.setups or tuple(before.setups))
        if name in before.setups
    }
    sprayers = {before.setups[name].sprayer for name in setups}
    setups |= {tip for name in sprayers for tip in before.sprayers[name].tips}
    config = after.model_copy(
        update={
            "farm": after.farm.model_copy(update={"presets": before.farm.presets}),
            "judging": before.judging,
            "fields": after.fields | entries,
            "windows": after.windows | {name: before.windows[name] for name in windows},
            "products": after.products | {n: before.products[n] for n in products},
            "setups": after.setups | {name: before.setups[name] for name in setups},
            "sprayers": after.sprayers | {name: before.sprayers[name] for name in sprayers},
            "neighbours": after.neighbours | before.neighbours,
        }
    )
    ground = replace(
        new.ground,
        fields_deg={**new.ground.fields_deg, **{n: old.ground.fields_deg[n] for n in held}},
        neighbours_deg={**new.ground.neighbours_deg, **old.ground.neighbours_deg},
    )
    same = config == after and ground == new.ground
    return new if same else Farm(config, ground)
