"""From what an unknown station sends to an entry of the farm file, and what that entry makes of it.

What is decoded is decoded by the readers that the running watch will use.
"""

import os
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import TypeAdapter

from watcher.farm.feeds import MappedJson, Source
from watcher.farm.load import load
from watcher.farm.read_file import text_of
from watcher.farm.stations import CsvStation, MqttStation, PushStation
from watcher.i18n.message import NOTHING, Message, Param, say
from watcher.service.source_factory import post_mapping
from watcher.service.station_factory import csv_layout
from watcher.sources import json_text
from watcher.sources.base import Observations
from watcher.sources.feeds.mapped_json import JsonMapping
from watcher.sources.learning.columns import Sample, UnknownFormError, read_sample
from watcher.sources.learning.guesses import Guess, TimeForm, clock_of, quantity_of
from watcher.sources.quality.check import check, future_flags
from watcher.sources.stations import rain_gauge, readings
from watcher.sources.stations.csv_rows import CsvContents, CsvReader
from watcher.sources.stations.rows import number, observations
from watcher.units import System
from watcher.weather.quantities import BY_NAME
from watcher.weather.series import Site, WeatherSeries
from watcher.written_secrets import masked

if TYPE_CHECKING:
    import tomlkit

_SITE = Site(0.0, 0.0)
_NOT_MEASURED = frozenset({-9999.0, 9999.0, -9999.9, -999.0, -999.9, -7999.0, 32767.0, 65535.0})
"""Numbers that stand for "not measured" (common practice, no source)."""


@dataclass(frozen=True)
class Heard:
    """What came: its bytes, and when it was made or came (epoch seconds)."""

    body: bytes
    made_at: int
    file: Path | None = None
    url: str | None = None
    broker: tuple[str, int] | None = None
    topic: str | None = None


@dataclass(frozen=True)
class Proposal:
    """An entry of the farm file, and what of it is not sure."""

    entry: Mapping[str, Any]
    sample: Sample
    units: Mapping[str, Guess] = field(default_factory=dict)
    """By column what it is taken to be."""
    doubts: tuple[Message, ...] = ()
    """What must be confirmed before the entry is written."""
    unread: tuple[str, ...] = ()
    """Columns that are not read."""


class NothingLearnedError(Exception):
    """Nothing can be proposed; the text says why and what to do."""

    def __init__(self, text: Message) -> None:
        super().__init__(text)
        self.text = text


def propose(
    heard: Heard,
    *,
    now: int,
    farm_zone: str,
    units: Mapping[str, str] | None = None,
    time_format: str | None = None,
    time_zone: str | None = None,
) -> Proposal:
    """Propose an entry. ``units``, ``time_format`` and ``time_zone`` are what the grower confirmed.

    Raises ``NothingLearnedError``.
    """
    try:
        sample = read_sample(heard.body, now=now)
    except UnknownFormError as error:
        text = say("{why}; see that this is what the station sends", why=error.text)
        raise NothingLearnedError(text) from error
    except ValueError as error:
        text = say("{why}; see that this is what the station sends", why=str(error))
        raise NothingLearnedError(text) from error
    clock = None
    if sample.form != "senml":
        clock = clock_of(sample.columns, made_at=heard.made_at, farm_zone=farm_zone)
    guesses = _guesses(sample, clock, units or {})
    if not guesses:
        raise NothingLearnedError(
            say(
                "none of its names is known as weather: {names}; write the entry by hand, "
                "config/farm.toml shows how",
                names=", ".join(sample.columns)[:300],
            )
        )
    doubts = [
        say(
            "{quantity} ({column}): {doubt}",
            quantity=guess.quantity,
            column=column,
            doubt=_unit_doubt(guess),
        )
        for column, guess in guesses.items()
        if not guess.sure
    ]
    if clock is not None:
        clock = replace(
            clock, form=time_format or clock.form, zone=time_zone or clock.zone, doubts=clock.doubts
        )
        confirmed = time_format is not None or time_zone is not None
        doubts += [] if confirmed else [say("time: {doubt}", doubt=d) for d in clock.doubts]
    elif sample.form == "csv":
        raise NothingLearnedError(say("no column of it is a time that is understood"))
    entry = _entry(heard, sample, clock, guesses)
    timed = set(clock.columns) if clock else set()
    unread = tuple(name for name in sample.columns if name not in guesses and name not in timed)
    return Proposal(entry, sample, guesses, tuple(doubts), unread)


def _unit_doubt(guess: Guess) -> Message:
    quantity, unit, why = guess.quantity, guess.unit, guess.why or NOTHING
    if unit is None:
        return say("{why}; say it with --unit {quantity}=UNIT", why=why, quantity=quantity)
    if guess.why is None:
        return say(
            "looks like {unit}; confirm it with --unit {quantity}={unit}",
            quantity=quantity,
            unit=unit,
        )
    return say(
        "looks like {unit}, {why}; confirm it with --unit {quantity}={unit}",
        quantity=quantity,
        unit=unit,
        why=why,
    )


def _guesses(sample: Sample, clock: TimeForm | None, units: Mapping[str, str]) -> dict[str, Guess]:
    """Return what each column is; of two of one quantity the first."""
    found: dict[str, Guess] = {}
    for column, values in sample.columns.items():
        if clock is not None and column in clock.columns:
            continue
        guess = quantity_of(column, values, sample.units.get(column))
        if guess is None or guess.quantity in {each.quantity for each in found.values()}:
            continue
        if guess.quantity in units:
            guess = replace(guess, unit=units[guess.quantity], sure=True)
        found[column] = guess
    return found


def _entry(
    heard: Heard, sample: Sample, clock: TimeForm | None, guesses: Mapping[str, Guess]
) -> dict[str, Any]:
    if heard.url is not None:
        return _of_address(heard.url, sample, clock, guesses)
    entry: dict[str, Any] = {"kind": _kind(heard, sample)}
    if sample.form == "csv":
        entry |= _of_file(heard, sample)
    if heard.broker is not None:
        entry |= {"host": heard.broker[0], "port": heard.broker[1], "topic": heard.topic}
        packed = "senml-cbor" if sample.content_type.endswith("cbor") else "senml"
        entry["payload"] = packed if sample.form == "senml" else "mapped"
    if sample.readings is not None and heard.broker is None:
        entry["readings"] = sample.readings
    if clock is not None:
        entry |= _times(clock, is_csv=sample.form == "csv")
    elif sample.form == "json" and heard.broker is None:
        entry["time"] = "arrival"
    entry |= _missing(sample)
    entry["measures"] = sorted(guess.quantity for guess in guesses.values())
    at = "column" if sample.form == "csv" else "at"
    entry["quantities"] = {
        guess.quantity: _value(at, _column(column, sample), guess)
        for column, guess in guesses.items()
    }
    return entry


def _of_address(
    url: str, sample: Sample, clock: TimeForm | None, guesses: Mapping[str, Guess]
) -> dict[str, Any]:
    """Return the entry of a feed that is asked."""
    if sample.form != "json" or clock is None or len(clock.columns) > 1 or clock.zone is not None:
        raise NothingLearnedError(
            say(
                "what is asked at an address must be JSON whose times tell their zone; let "
                "something fetch it into a file, or post it, and learn that"
            )
        )
    if any(guess.reported_as != "rate" for guess in guesses.values()):
        guesses = {
            column: guess for column, guess in guesses.items() if guess.reported_as == "rate"
        }
    return {
        "kind": "mapped_json",
        "gives": "observations",
        "url": masked(url),
        "every": "5 min",
        "silent_after": "20 min",
        "times": _path(clock.columns[0], sample),
        "measures": sorted(guess.quantity for guess in guesses.values()),
        "quantities": {
            guess.quantity: {"at": _path(column, sample), "unit": guess.unit or "?"}
            for column, guess in guesses.items()
        },
    }


def _path(column: str, sample: Sample) -> str:
    """Return where a column stands in a body; of a list nulls keep their places."""
    plain = column.replace(".", "").replace("_", "").replace('"', "").isalnum()
    step = column if plain else f'"{column}"'
    if not sample.is_list:
        return step
    return f"map(&{step}, {'@' if sample.readings is None else sample.readings})"


def _missing(sample: Sample) -> dict[str, Any]:
    """Return what stands for "not measured", where numbers that nothing measures stand there."""
    values = {f"{value}".strip() for column in sample.columns.values() for value in column}
    found = sorted(word for word in values if number(word) in _NOT_MEASURED)
    return {"missing": ["", "NaN", "---", *found]} if found and sample.form != "senml" else {}


def _kind(heard: Heard, sample: Sample) -> str:
    if heard.broker is not None:
        return "mqtt"
    return "csv" if sample.form == "csv" else "push"


def _of_file(heard: Heard, sample: Sample) -> dict[str, Any]:
    if heard.file is None:
        raise NothingLearnedError(
            say(
                "it is a table at an address, and tables are read as files: let something fetch "
                "it into a file, and learn that"
            )
        )
    found: dict[str, Any] = {"files": str(heard.file.resolve())}
    plain = {"delimiter": ",", "decimal": ".", "header_rows": 1, "names_row": 1}
    for name, usual in plain.items():
        value = getattr(sample, name)
        if value != usual:
            found[name] = value
    return found


def _column(name: str, sample: Sample) -> str | int:
    """Return a column of a file without names by its number."""
    numbered = sample.form == "csv" and name.isdigit() and not sample.header_rows
    return int(name) if numbered else name


def _value(at: str, column: str | int, guess: Guess) -> dict[str, Any]:
    value: dict[str, Any] = {at: column}
    if guess.unit is not None:
        value["unit"] = guess.unit
    return value | ({"reported_as": guess.reported_as} if guess.reported_as != "rate" else {})


def _times(clock: TimeForm, *, is_csv: bool) -> dict[str, Any]:
    columns: list[str | int] = [int(c) if is_csv and c.isdigit() else c for c in clock.columns]
    found: dict[str, Any] = {"time": columns if len(columns) > 1 else columns[0]}
    if clock.form not in {"iso", "epoch"} or (is_csv and clock.form != "iso"):
        found["time_format"] = clock.form
    if clock.zone is not None and clock.form != "epoch":
        found["time_zone"] = clock.zone
    return found


@cache
def _entries() -> TypeAdapter[Any]:
    return TypeAdapter(Source)


def decoded(proposal: Proposal, heard: Heard, now: int) -> Observations:
    """Return what the entry makes of the sample, with what quality control finds.

    Nothing is made of numbers whose unit is not known. Raises ``ValueError`` or ``SourceError``
    where the watch would refuse it.
    """
    unknown = {guess.quantity for guess in proposal.units.values() if guess.unit is None}
    if len(unknown) == len(proposal.units):
        raise NothingLearnedError(say("no unit of it is known yet"))
    proposed = proposal.entry["quantities"].items()
    known = {name: value for name, value in proposed if name not in unknown}
    entry = _entries().validate_python(
        dict(proposal.entry) | {"quantities": known, "measures": sorted(known)}
    )
    match entry:
        case CsvStation():
            rows = _csv_rows(entry, heard, now)
            taken = observations(rows, now=now, site=_SITE, source="learned")
        case PushStation() | MqttStation():
            taken = readings.parse(
                heard.body,
                proposal.sample.content_type,
                now=now,
                site=_SITE,
                source="learned",
                mapping=post_mapping(entry),
            )
        case MappedJson():
            taken = _asked(entry, heard, now)
        case _:
            raise ValueError("it cannot be decoded here")
    taken, _ = rain_gauge.rated(taken, None)
    nothing = Observations(WeatherSeries(np.empty(0, np.int64), _SITE, "learned"))
    return check(taken, nothing)


@dataclass(frozen=True)
class ReadValue:
    """A value as it came, and what is made of it."""

    column: str
    quantity: str
    came: str
    made: Param


def read_values(
    proposal: Proposal, found: Observations, system: System, most: int
) -> Iterator[tuple[int, Sequence[ReadValue]]]:
    """Yield the last readings, each with its time (epoch seconds) and values as they are read."""
    series, count = found.series, len(found.series)
    rows = proposal.sample.rows
    for back in range(min(most, count), 0, -1):
        values = []
        for column, guess in proposal.units.items():
            sent = proposal.sample.columns[column]
            came = str(sent[rows - back]) if count == rows and back <= len(sent) else "…"
            quantity = BY_NAME[guess.quantity]
            value = float(getattr(series, quantity.column)[count - back])
            made: Param = quantity.kind.show(value, system, quantity.kind.decimals + 1)
            if guess.unit is None:
                made = say("unit not known")
            elif np.isnan(value):
                made = say("missing")
            values.append(ReadValue(column, guess.quantity, came, made))
        yield int(series.times[count - back]), values


def _asked(entry: MappedJson, heard: Heard, now: int) -> Observations:
    mapping = JsonMapping.of(
        source="learned",
        site=_SITE,
        times=entry.times,
        issued=None,
        quantities={name: (mapped.at, mapped.unit) for name, mapped in entry.quantities.items()},
    )
    _, series = mapping.read(json_text.loads(heard.body))
    return Observations(series, future_flags(series.times, series.quantities(), now))


def _csv_rows(entry: CsvStation, heard: Heard, now: int) -> dict[int, dict[str, float]]:
    contents = CsvContents()
    lines = heard.body.splitlines(keepends=True)
    header = lines[: entry.header_rows]
    CsvReader(csv_layout(entry), contents, now).read(
        str(heard.file), header, [line for line in lines[entry.header_rows :] if line.strip()], None
    )
    if contents.amiss and not contents.rows:
        raise ValueError(contents.first_amiss)
    return contents.rows


def free_name(wanted: str, taken: Sequence[str]) -> str:
    """Return a name for the source that is not taken yet."""
    numbers = (f"{wanted}{number}" for number in range(2, len(taken) + 3))
    return next(name for name in (wanted, *numbers) if name not in taken)


def as_toml(name: str, entry: Mapping[str, Any]) -> str:
    """Return the entry as it would stand in the farm file."""
    import tomlkit  # noqa: PLC0415 - only to write

    document = tomlkit.document()
    document["sources"] = tomlkit.table(is_super_table=True)
    document["sources"][name] = _table(entry)
    return tomlkit.dumps(document).strip()


def write(farm_file: Path, name: str, entry: Mapping[str, Any]) -> None:
    """Write the entry into the farm file, with all else as it stands.

    Raises ``FarmFileError``, with nothing written, where the file would then not be right;
    ``OSError``.
    """
    import tomlkit  # noqa: PLC0415 - only to write

    document = tomlkit.parse(text_of(farm_file))
    sources = document.setdefault("sources", tomlkit.table(is_super_table=True))
    if name in sources:
        text = say("there is a source '{name}' already; choose a --name of its own", name=name)
        raise NothingLearnedError(text)
    sources[name] = _table(entry)
    whole = tomlkit.dumps(document)
    load(farm_file, lambda file: whole if file == farm_file else text_of(file))
    mode = farm_file.stat().st_mode
    with tempfile.NamedTemporaryFile(
        "w", dir=farm_file.parent, prefix=f".{farm_file.name}.", delete=False, encoding="utf-8"
    ) as new:
        new.write(whole)
        new.flush()
        os.fsync(new.fileno())
    Path(new.name).chmod(mode)
    Path(new.name).replace(farm_file)


def _table(entry: Mapping[str, Any]) -> "tomlkit.items.Table":
    import tomlkit  # noqa: PLC0415 - only to write

    table = tomlkit.table()
    for key, value in entry.items():
        if key == "quantities":
            inner = tomlkit.table()
            for quantity, mapped in value.items():
                line = tomlkit.inline_table()
                line.update(mapped)
                inner[quantity] = line
            table[key] = inner
        else:
            table[key] = value
    return table
