"""What a farm's files are held to beyond being readable: labels out of date, fields never open."""

from collections.abc import Iterator
from datetime import date
from functools import reduce
from pathlib import Path

from watcher.farm import Farm
from watcher.farm.field_rules import buffers_of, rules_of
from watcher.farm.problems import Problem
from watcher.farm.rules.mix import Reading, mix
from watcher.farm.validation.rules import expired
from watcher.i18n.message import Message, say
from watcher.judge.can_open import shut_fields
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.reasons import Speaker
from watcher.messages.rules import reading_line


def readings_to_settle(farm: Farm) -> Iterator[Message]:
    """Yield what labels and laws of the farm file leave open, and how it is read until settled."""
    config = farm.config
    found = [
        noted
        for field in config.fields
        for noted in mix(rules_of(config, field), buffers_of(config, field)).notes
    ]
    settled = {Reading.INVERSION}  # that is found out on the day
    if all(neighbour.adjacent is not None for neighbour in config.neighbours.values()):
        settled.add(Reading.ADJACENT)
    for noted in dict.fromkeys(found):
        if noted.reading not in settled and not noted.of.startswith("preset "):
            yield reading_line(noted)


def estimate_notes(farm: Farm) -> Iterator[Message]:
    """Yield what is estimated otherwise than one might think."""
    plan = FarmArrays.of(farm)
    for setup, hooded in zip(plan.setups, plan.hood_not_counted.tolist(), strict=True):
        if hooded:
            yield say(
                "setup {setup}: its drift is estimated as from an open boom, the hood is not "
                "counted; write drift_reduction where yours was tested with it",
                setup=setup,
            )


def law_problems(farm: Farm, file: Path, today: date) -> Iterator[Problem]:
    """Yield labels and rules that are no longer valid, and fields that can never open."""
    for key, wrong, mend in expired(farm.config, today):
        yield Problem(file, key, wrong, mend)
    speaker = Speaker(farm)
    for shut in shut_fields(FarmArrays.of(farm), today):
        reasons = reduce(
            lambda first, second: say("{first}; and {second}", first=first, second=second),
            (speaker.reason(shut.field, reason) for reason in shut.by),
        )
        setups = farm.config.fields[shut.field].setups or tuple(farm.config.setups)
        wrong = say(
            "can never open, whatever the wind, its direction, the hour and the season, with "
            "{setups}. Closest is {setup}: {reasons}",
            setups=", ".join(setups),
            setup=shut.setup,
            reasons=reasons,
        )
        mend = say(
            "loosen one of these where it is your own, allow another setup, or redraw the field"
        )
        yield Problem(file, f"fields.{shut.field}", wrong, mend)
