"""Readings written as a table can be read by another program, whatever their number."""

import csv
import io
import tracemalloc
from datetime import datetime

import numpy as np
import pandas as pd
import pytest

from watcher.sources.base import Flag, Observations
from watcher.store import export, weather
from watcher.store.database import Database
from watcher.store.flag_words import flag_words, flags_of
from watcher.store.importing import read_csv
from watcher.store.qartod import primary_flag
from watcher.weather.series import QUANTITIES, Site, WeatherSeries

NOW = 1_700_000_000  # 2023-11-14 22:13:20 UTC, by GNU date
SITE = Site(latitude=44.5, longitude=-100.25)


def add(log: Database, source: str, times: list[int], **quantities: object) -> None:
    series = WeatherSeries.of(times, SITE, source, quantities)  # type: ignore[arg-type]
    flags = {"wind_m_s": np.full(len(times), Flag.STEP | Flag.SUSPECT_SOURCE, np.uint16)}
    with log.writing() as session:
        observed = Observations(series, flags if source == "doubtful" else {})
        weather.add_observations(session, observed, NOW)


def exported(log: Database, *sources: str, start: int = 0, end: int = 2 * NOW) -> str:
    out = io.StringIO(newline="")
    with log.reading() as session:
        export.write_observations(session, sources, start, end, out)
    return out.getvalue()


def test_every_quantity_has_a_heading_with_its_unit() -> None:
    assert tuple(export.HEADINGS) == QUANTITIES
    assert all(heading.endswith(")") for heading in export.HEADINGS.values())


def test_times_are_utc_and_missing_values_are_empty_cells(log: Database) -> None:
    add(log, "station", [NOW, NOW + 60], wind_m_s=[1.1, np.nan], pressure_pa=[np.nan, 95_012.5])
    [first, second] = csv.DictReader(io.StringIO(exported(log, "station"), newline=""))
    assert first["time (UTC)"] == "2023-11-14T22:13:20Z"
    assert (first["wind (m/s)"], second["wind (m/s)"]) == ("1.1", "")
    assert (first["station pressure (Pa)"], second["station pressure (Pa)"]) == ("", "95012.5")
    assert (first["source"], first["flags"]) == ("station", "")


def test_flags_are_written_as_words(log: Database) -> None:
    add(log, "doubtful", [NOW], wind_m_s=[1.1])
    [line] = csv.DictReader(io.StringIO(exported(log, "doubtful"), newline=""))
    assert line["flags"] == "wind_m_s: step, suspect source"


def test_qartod_flags_stand_beside_them_where_asked_for(log: Database) -> None:
    add(log, "doubtful", [NOW, NOW + 60], wind_m_s=[1.1, np.nan], temp_c=[20.0, 21.0])
    out = io.StringIO(newline="")
    with log.reading() as session:
        export.write_observations(session, ["doubtful"], 0, 2 * NOW, out, with_qartod=True)
    [first, second] = csv.DictReader(io.StringIO(out.getvalue(), newline=""))
    flags = [line["wind (m/s) QARTOD flag"] for line in (first, second)]
    assert flags == ["3", "9"]
    assert first["temperature (degC) QARTOD flag"] == "1"
    [back] = read_csv(io.StringIO(out.getvalue(), newline=""), {"doubtful": SITE}, 2 * NOW)
    assert back.flags["wind_m_s"][0] == Flag.STEP | Flag.SUSPECT_SOURCE


@pytest.mark.parametrize(
    ("value", "bits", "flag"),
    [
        (1.0, 0, 1),
        (1.0, Flag.STUCK, 3),
        (1.0, Flag.RANGE | Flag.STEP, 4),
        (1.0, Flag.FUTURE, 4),
        (None, 0, 9),
        (np.nan, Flag.STEP, 9),
    ],
)
def test_a_primary_flag_is_that_of_the_worst_finding(
    value: float | None, bits: int, flag: int
) -> None:
    """IOOS QARTOD: 1 pass, 3 suspect, 4 fail, 9 missing (from memory)."""
    assert primary_flag(value, bits) == flag


@pytest.mark.parametrize("flag", [flag for flag in Flag if flag])
def test_every_flag_has_a_word(flag: Flag) -> None:
    words = flag_words({"temp_c": int(flag)})
    assert words == f"temp_c: {str(flag.name).lower().replace('_', ' ')}"
    assert flags_of(words) == {"temp_c": flag}


@pytest.mark.parametrize("words", ["temp_c: odd", "warmth: step", "temp_c", "step"])
def test_words_that_are_no_findings_are_refused(words: str) -> None:
    with pytest.raises(ValueError, match="is not"):
        flags_of(words)


def test_sources_follow_each_other_cut_to_the_time_asked_for(log: Database) -> None:
    for source in ("a", "b", "not asked for"):
        add(log, source, [NOW, NOW + 60, NOW + 120])
    lines = list(csv.reader(io.StringIO(exported(log, "b", "a", end=NOW + 61), newline="")))
    times = [datetime.fromisoformat(line[1]).timestamp() for line in lines[1:]]
    assert [line[0] for line in lines[1:]] == ["b", "b", "a", "a"]
    assert times == [NOW, NOW + 60] * 2


def test_another_program_reads_the_same_numbers(log: Database) -> None:
    rng = np.random.default_rng(20_240_601)
    values = {name: rng.normal(size=50) for name in QUANTITIES}
    add(log, "station", [NOW + 60 * n for n in range(50)], **values)
    table = pd.read_csv(io.StringIO(exported(log, "station")))
    for name, wanted in values.items():
        # To the last bit or the one before: that reader does not round numbers exactly.
        np.testing.assert_array_max_ulp(table[export.HEADINGS[name]].to_numpy(), wanted, 2)


class _Nowhere(io.TextIOBase):
    def write(self, line: str) -> int:
        return len(line)


def test_memory_does_not_grow_with_the_range(log: Database) -> None:
    times = [NOW + 60 * n for n in range(20_000)]
    add(log, "station", times, wind_m_s=np.arange(20_000.0), temp_c=np.arange(20_000.0))

    def peak(rows: int) -> int:
        with log.reading() as session:
            tracemalloc.start()
            try:
                out = _Nowhere()
                end = NOW + 60 * rows
                assert export.write_observations(session, ["station"], NOW, end, out) == rows
                return tracemalloc.get_traced_memory()[1]
            finally:
                tracemalloc.stop()

    peak(100)  # what is made once is made
    assert peak(20_000) < 2.0 * peak(4_000)
