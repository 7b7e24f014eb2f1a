"""What was written as a table comes back as it was; what is no such table is refused in words."""

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet
import pytest

from tests.support.new_log import new_log
from watcher.sources.base import Flag, Observations
from watcher.store import export, parquet, weather
from watcher.store.database import Database
from watcher.store.importing import BadTableError, read_csv, read_parquet
from watcher.weather.series import QUANTITIES, Site, WeatherSeries

NOW = 1_700_000_000  # 2023-11-14 22:13:20 UTC, by GNU date
START = NOW - 86_400
SITE = Site(latitude=44.5, longitude=-100.25, wind_height_m=3.0)
SITES = {"mast": SITE, "yard": SITE}


def observations(source: str, count: int = 2500) -> Observations:
    rng = np.random.default_rng(len(source))
    values = {name: rng.normal(size=count) for name in QUANTITIES}
    for column in values.values():
        column[rng.random(count) < 0.1] = np.nan
    flags = {
        "temp_c": np.where(rng.random(count) < 0.1, Flag.STEP | Flag.STUCK, 0).astype(np.uint16)
    }
    return Observations(
        WeatherSeries.of(START + 10 * np.arange(count), SITE, source, values), flags
    )


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Database]:
    log = new_log(tmp_path / "watch.db")
    yield log
    log.close()


def keep(log: Database, observations: Observations) -> int:
    with log.writing() as session:
        return weather.add_observations(session, observations, NOW)


def exported(log: Database) -> str:
    out = io.StringIO(newline="")
    with log.reading() as session:
        export.write_observations(session, ["mast", "yard"], 0, NOW, out)
    return out.getvalue()


def rows_as(form: str, log: Database, folder: Path) -> Iterator[Observations]:
    """Export everything and read it back in one of the forms."""
    if form == "csv":
        return read_csv(io.StringIO(exported(log), newline=""), SITES, NOW)
    file = folder / "readings.parquet"
    with log.reading() as session:
        export.write_parquet(session, ["mast", "yard"], 0, NOW, file)
    return read_parquet(file, SITES, NOW)


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_what_goes_out_comes_back_to_the_last_bit(log: Database, tmp_path: Path, form: str) -> None:
    for source in ("mast", "yard"):
        keep(log, observations(source))
    back = list(rows_as(form, log, tmp_path))
    assert max(len(block.series) for block in back) <= 1000
    for source in ("mast", "yard"):
        wanted = observations(source)
        blocks = [b for b in back if b.series.source == source]
        assert np.concatenate([b.series.times for b in blocks]).tolist() == (
            wanted.series.times.tolist()
        )
        for name in QUANTITIES:
            found = np.concatenate([getattr(b.series, name) for b in blocks])
            np.testing.assert_array_equal(found, getattr(wanted.series, name))
        flags = [b.flags.get("temp_c", np.zeros(len(b.series), np.uint16)) for b in blocks]
        np.testing.assert_array_equal(np.concatenate(flags), wanted.flags["temp_c"])


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_importing_again_changes_nothing(log: Database, tmp_path: Path, form: str) -> None:
    keep(log, observations("mast"))
    before = exported(log)
    assert [keep(log, block) for block in rows_as(form, log, tmp_path)] == [0, 0, 0]
    assert exported(log) == before


def test_another_log_gets_everything(log: Database, tmp_path: Path) -> None:
    keep(log, observations("mast"))
    other = new_log(tmp_path / "other.db")
    assert sum(keep(other, block) for block in rows_as("csv", log, tmp_path)) == 2500
    assert exported(other) == exported(log)
    other.close()


def test_pandas_reads_the_same_numbers_and_units_from_parquet(
    log: Database, tmp_path: Path
) -> None:
    keep(log, observations("mast"))
    list(rows_as("parquet", log, tmp_path))
    table = pd.read_parquet(tmp_path / "readings.parquet")
    wanted = observations("mast").series
    assert (table.time.astype("datetime64[s, UTC]").astype("int64") == wanted.times).all()
    np.testing.assert_array_equal(table.wind_m_s, wanted.wind_m_s)
    schema = pyarrow.parquet.read_schema(tmp_path / "readings.parquet")
    assert schema.field("wind_m_s").metadata[b"unit"] == b"m/s"
    assert schema.field("pressure_pa").metadata[b"unit"] == b"Pa"
    assert schema.field("wind_from_deg").metadata[b"unit"] == b"deg true"


def test_without_pyarrow_it_says_what_to_install(
    log: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "pyarrow", None)
    with pytest.raises(parquet.NoParquetError, match=r"\[parquet\]"):
        list(rows_as("parquet", log, tmp_path))


HEADER = "source,time (UTC),wind (m/s),flags\n"


def read(text: str) -> list[Observations]:
    return list(read_csv(io.StringIO(text, newline=""), SITES, NOW))


class TestByHand:
    def test_columns_may_be_left_out_and_offsets_written(self) -> None:
        [block] = read("source,time (UTC),wind (m/s)\nmast,2023-11-14T16:00:00-06:00,2.5\n")
        assert block.series.times.tolist() == [1_699_999_200]
        assert block.series.wind_m_s.tolist() == [2.5]
        assert np.isnan(block.series.temp_c).all()

    def test_rows_in_any_order_and_of_one_time_the_later_stands(self) -> None:
        late, early = "mast,2023-11-14T12:01:00Z", "mast,2023-11-14T12:00:00Z"
        [block] = read(f"{HEADER}{late},1,\n{early},2,\n{late},3,\n")
        assert block.series.wind_m_s.tolist() == [2.0, 3.0]

    def test_empty_lines_are_passed_over(self) -> None:
        assert len(read(f"{HEADER}\nmast,2023-11-14T12:00:00Z,1,\n\n")) == 1

    def test_an_empty_table_holds_nothing(self) -> None:
        assert read(HEADER) == []


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the header has no 'source'"),
        ("source,wind (m/s)\n", r"the header has no 'time \(UTC\)'"),
        ("source,time (UTC),wind (mph)\n", r"column 'wind \(mph\)' is not known"),
        (HEADER + "mast,2023-11-14T12:00:00Z,1\n", "line 2 has 3 cells, the header 4"),
        (HEADER + "mast,2023-11-14 12:00,1,\n", r"line 2, 'time \(UTC\)': .*offset"),
        (HEADER + "mast,yesterday,1,\n", r"line 2, 'time \(UTC\)': 'yesterday'"),
        (HEADER + "mast,2023-11-14T12:00:00Z,nan,\n", r"line 2, 'wind \(m/s\)': 'nan'"),
        (HEADER + 'mast,2023-11-14T12:00:00Z,"1,5",\n', r"'1,5' is no number"),
        (HEADER + "mast,2023-11-14T12:00:00Z,1,wind_m_s: odd\n", "line 2, 'flags': 'odd'"),
        (HEADER + "barn,2023-11-14T12:00:00Z,1,\n", "no source 'barn' .* there are mast, yard"),
        (HEADER + "mast,2203-11-14T12:00:00Z,1,\n", "line 2: a reading cannot be of the future"),
    ],
)
def test_what_is_no_table_of_readings_is_refused(text: str, said: str) -> None:
    with pytest.raises(BadTableError, match=said):
        read(text)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"source": ["mast"], "wind_m_s": [1.0]}, "the header has no 'time'"),
        ({"source": ["mast"], "time": [1], "wind": [1.0]}, "column 'wind' is not known"),
    ],
)
def test_nor_is_any_parquet_file(tmp_path: Path, table: dict[str, list[object]], said: str) -> None:
    file = tmp_path / "some.parquet"
    frame = pd.DataFrame(table)
    if "time" in frame:
        frame["time"] = pd.to_datetime(frame["time"], unit="s", utc=True)
    frame.to_parquet(file)
    with pytest.raises(BadTableError, match=said):
        list(read_parquet(file, SITES, NOW))


def test_a_file_that_is_not_parquet_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "some.parquet"
    file.write_bytes(b"source,time (UTC)\n")
    with pytest.raises(BadTableError, match="is not a Parquet file"):
        list(read_parquet(file, SITES, NOW))
