"""A station's CSV files: layouts, damage, files that grow, and two real ones.

Expected values of the real files are read off them by eye: DWD's POI file of station 01049, and
NOAA's US Climate Reference Network sub-hourly rows of Tucson.
"""

import asyncio
import os
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from watcher.sources.base import Flag, Observations, SourceError
from watcher.sources.stations.csv_rows import Column, Layout
from watcher.sources.stations.csv_station import CsvSource
from watcher.sources.stations.growing_files import GrowingFiles
from watcher.sources.stations.local_times import LocalTimes, zone_of
from watcher.weather.measures import Measure
from watcher.weather.series import Site

NOW = 1_781_272_800  # 2026-06-12 14:00 UTC
HEADER = "time,wind,temp\n"


class Station:
    """A station on a file, and what it says at each look."""

    def __init__(
        self,
        file: Path,
        *,
        form: str = "iso",
        zone: str = "UTC",
        time: tuple[Column, ...] = ("time",),
        columns: dict[str, tuple[Column, str]] | None = None,
        header_rows: int = 1,
        whole: bool = False,
        **layout: Any,
    ) -> None:
        self.file = file
        found = columns or {"wind": ("wind", "m/s"), "temperature": ("temp", "degC")}
        self.source = CsvSource(
            name="mast",
            files=GrowingFiles(str(file), header_rows=header_rows, whole=whole),
            layout=Layout(
                times=LocalTimes(form, zone_of(zone)),
                time=time,
                quantities={
                    name: (at, Measure.of(name, unit)) for name, (at, unit) in found.items()
                },
                **layout,
            ),
            every_s=60.0,
            site=Site(41.0, -96.0),
        )

    def write(self, text: str | bytes) -> "Station":
        with self.file.open("ab") as file:
            file.write(text if isinstance(text, bytes) else text.encode())
        return self

    def look(self, now: int = NOW) -> Observations | None:
        os.utime(self.file, (now, now))
        return asyncio.run(self.source.poll(now)).observations

    def rows(self, now: int = NOW) -> list[tuple[int, float, float]]:
        """Seconds before ``NOW``, wind and temperature of every new row."""
        found = self.look(now)
        if found is None:
            return []
        s = found.series
        return list(
            zip((s.times - NOW).tolist(), s.wind_m_s.tolist(), s.temp_c.tolist(), strict=True)
        )


@pytest.fixture
def station(tmp_path: Path) -> Station:
    return Station(tmp_path / "a.csv")


def test_rows_are_read_once_as_they_are_written(station: Station) -> None:
    station.write(HEADER + "2026-06-12T13:58:00Z,3.1,20.5\n")
    assert station.rows() == [(-120, 3.1, 20.5)]
    assert station.rows() == []
    station.write("2026-06-12T13:59:00Z,3.2,20.6\n2026-06-12T14:00:00Z,3.3,20.")
    assert station.rows() == [(-60, 3.2, 20.6)]
    station.write("7\n")
    assert station.rows() == [(0, 3.3, 20.7)]


def test_a_semicolon_and_a_decimal_comma(tmp_path: Path) -> None:
    station = Station(tmp_path / "a.csv", delimiter=";", decimal=",", encoding="latin-1")
    station.write("time;wind;temp\n2026-06-12 13:59;3,1;-0,5\n")
    assert station.rows() == [(-60, 3.1, -0.5)]


@pytest.mark.parametrize("text", ["1.023,5", "3.1"])
def test_with_a_decimal_comma_a_point_is_no_number(tmp_path: Path, text: str) -> None:
    station = Station(tmp_path / "a.csv", delimiter=";", decimal=",")
    station.write(f"time;wind;temp\n2026-06-12 13:59;{text};20,5\n")
    ((_, wind, temp),) = station.rows()
    assert np.isnan(wind)
    assert temp == 20.5


def test_columns_by_number_without_a_header_and_units_of_their_own(tmp_path: Path) -> None:
    columns: dict[str, tuple[Column, str]] = {"wind": (4, "mph"), "temperature": (3, "degF")}
    station = Station(
        tmp_path / "a.csv", time=(1, 2), columns=columns, header_rows=0, delimiter=" "
    )
    station.write("  2026-06-12  13:59   50   10\n")
    assert station.rows() == [(-60, pytest.approx(4.4704), pytest.approx(10.0))]


@pytest.mark.parametrize("word", ["-9999", "-9999.0", "NaN", "nan", "", " ", "-9999.00"])
def test_what_is_told_to_be_missing_is_missing(station: Station, word: str) -> None:
    station.write(HEADER + f"2026-06-12T13:59:00Z,{word},20.5\n")
    ((_, wind, temp),) = station.rows()
    assert np.isnan(wind)
    assert temp == 20.5


def test_a_row_of_nothing_but_missing_values_is_no_reading(station: Station) -> None:
    assert station.write(HEADER + "2026-06-12T13:59:00Z,,-9999\n").rows() == []


@pytest.mark.parametrize("word", ["ERR", "---", "3.1.2", "inf", "1e999", "3,1", "0x10", "OFF"])
def test_what_is_neither_a_number_nor_missing_is_never_a_value(station: Station, word: str) -> None:
    station.write(HEADER + f'2026-06-12T13:59:00Z,"{word}",20.5\n')
    ((_, wind, _),) = station.rows()
    assert np.isnan(wind)


@pytest.mark.parametrize(
    "line",
    [
        "2026-06-12T13:59:00Z,3.1\n",
        "2026-06-12T13:59:00Z,3.1,2026-06-12T14:00:00Z,3.2,20.6\n",
        "2026-06-12T13:59:00Z,3.\0001,20.5\n",
        "yesterday,3.1,20.5\n",
        "1970-01-01T00:00:00Z,3.1,20.5\n",
        "2026-06-15T00:00:00Z,3.1,20.5\n",
        "2026-06-12T13:59:00Z,3.1,20.5,99\n",
        "time,wind,temp\n",
        "\n",
    ],
)
def test_a_damaged_line_is_passed_over_and_the_next_is_read(station: Station, line: str) -> None:
    station.write(HEADER + line + "2026-06-12T14:00:00Z,3.3,20.7\n")
    assert station.rows() == [(0, 3.3, 20.7)]


def test_zeros_around_a_line_are_nothing(station: Station) -> None:
    station.write(HEADER.encode() + b"\0" * 512 + b"2026-06-12T13:59:00Z,3.1,20.5\0\n")
    assert station.rows() == [(-60, 3.1, 20.5)]


def test_bytes_that_are_no_text_are_passed_over(station: Station) -> None:
    station.write(HEADER.encode() + b"\xff\xfe\x81,1,2\n2026-06-12T13:59:00Z,3.1,20.5\n")
    assert station.rows() == [(-60, 3.1, 20.5)]


def test_empty_columns_at_the_end_do_not_matter(station: Station) -> None:
    assert station.write(HEADER + "2026-06-12T13:59:00Z,3.1,20.5,,\n").rows() == [(-60, 3.1, 20.5)]


def test_a_mark_of_utf_8_at_the_start_does_not_matter(station: Station) -> None:
    station.write(b"\xef\xbb\xbf" + HEADER.encode() + b"2026-06-12T13:59:00Z,3.1,20.5\n")
    assert station.rows() == [(-60, 3.1, 20.5)]


def test_when_nothing_can_be_read_that_is_told_and_not_lost(station: Station) -> None:
    station.write(HEADER + "12.06.2026 13:59,3.1,20.5\n")
    for _ in range(2):
        with pytest.raises(SourceError, match=r"12\.06\.2026 13:59"):
            station.look()
    station.write("2026-06-12T14:00:00Z,3.3,20.7\n")
    assert station.rows() == [(0, 3.3, 20.7)]


def test_a_line_of_many_megabytes_is_told_and_what_follows_is_read(station: Station) -> None:
    station.write(HEADER).write("2026-06-12T13:58:00Z,3,20\n")
    assert station.rows() == [(-120, 3.0, 20.0)]
    station.write("x" * 9_000_000).write("\n2026-06-12T13:59:00Z,3,20\n")
    for _ in range(2):
        with pytest.raises(SourceError, match="over 65536 bytes"):
            station.look()
    assert station.rows() == [(-60, 3.0, 20.0)]


def test_a_column_that_is_not_there_is_told_with_those_that_are(station: Station) -> None:
    station.write("time,speed,temp\n2026-06-12T13:59:00Z,3.1,20.5\n")
    with pytest.raises(SourceError, match=r"'wind'.*speed"):
        station.look()


def test_a_column_that_is_there_twice_is_told(station: Station) -> None:
    station.write("time,wind,temp,wind\n2026-06-12T13:59:00Z,3.1,20.5,9.9\n")
    with pytest.raises(SourceError, match="2 columns 'wind'"):
        station.look()


def test_no_file_is_told(station: Station) -> None:
    with pytest.raises(SourceError, match="no file"):
        asyncio.run(station.source.poll(NOW))


def test_a_file_that_may_not_be_read_is_told(
    station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(station.file))

    station.write(HEADER)
    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(SourceError, match=r"a\.csv cannot be read \(Permission denied\)"):
        station.look()


def test_a_clock_that_runs_ahead_is_set_right(tmp_path: Path) -> None:
    station = Station(tmp_path / "a.csv", clock_ahead_s=3600.0)
    station.write(HEADER + "2026-06-12T14:59:00Z,3.1,20.5\n")
    assert station.rows() == [(-60, 3.1, 20.5)]


def test_a_row_from_ahead_is_flagged(station: Station) -> None:
    found = station.write(HEADER + "2026-06-12T14:10:00Z,3.1,20.5\n").look()
    assert found is not None
    assert found.flags["wind_m_s"].tolist() == [Flag.FUTURE]


def test_rows_of_an_outage_come_at_their_own_times(station: Station) -> None:
    station.write(HEADER + "2026-06-12T10:00:00Z,3.1,20.5\n")
    assert station.rows(NOW - 4 * 3600) == [(-4 * 3600, 3.1, 20.5)]
    station.write("2026-06-12T11:00:00Z,3.2,20.5\n2026-06-12T12:00:00Z,3.3,20.5\n")
    assert station.rows() == [(-3 * 3600, 3.2, 20.5), (-2 * 3600, 3.3, 20.5)]


def test_the_autumn_hour_is_told_apart_from_look_to_look(tmp_path: Path) -> None:
    station = Station(tmp_path / "a.csv", zone="America/Chicago").write(HEADER)
    first = int(datetime(2026, 11, 1, 6, 0, tzinfo=UTC).timestamp())
    times = []
    for step, shown in enumerate(["01:00", "01:30", "01:00", "01:30", "02:00"]):
        found = station.write(f"2026-11-01 {shown},3.1,20.5\n").look(first + 1800 * step)
        assert found is not None
        times += found.series.times.tolist()
    assert times == [first + 1800 * step for step in range(5)]


def test_dwd_poi(shared: Path, tmp_path: Path) -> None:
    file = tmp_path / "poi.csv"
    shutil.copy(shared / "feeds/dwd/poi_observations_current_01049.csv", file)
    station = Station(
        file,
        form="%d.%m.%y %H:%M",
        time=("surface observations", "Parameter description"),
        columns={
            "wind": ("mean_wind_speed_during last_10_min_at_10_meters_above_ground", "km/h"),
            "wind_from": (
                "mean_wind_direction_during_last_10 min_at_10_meters_above_ground",
                "deg",
            ),
            "gust": ("maximum_wind_speed_last_hour", "km/h"),
            "temperature": ("dry_bulb_temperature_at_2_meter_above_ground", "degC"),
            "dew_point": ("dew_point_temperature_at_2_meter_above_ground", "degC"),
            "humidity": ("relative_humidity", "percent"),
            "cloud": ("cloud_cover_total", "percent"),
        },
        header_rows=3,
        delimiter=";",
        decimal=",",
        encoding="latin-1",
        missing=("---",),
    )
    at = int(datetime(2020, 4, 6, 8, 10, tzinfo=UTC).timestamp())
    found = station.look(at)
    assert found is not None
    series = found.series
    newest = series.at(slice(-1, None))
    assert newest.times[0] == at - 600
    assert newest.wind_m_s[0] == pytest.approx(14 / 3.6)
    assert newest.gust_m_s[0] == pytest.approx(21 / 3.6)
    assert newest.wind_from_deg[0] == 140.0
    assert newest.temp_c[0] == pytest.approx(-3.1)
    assert newest.dew_point_c[0] == pytest.approx(-10.0)
    assert newest.humidity_pct[0] == 59.0
    assert np.isnan(newest.cloud_pct[0])
    read = pd.read_csv(
        file, sep=";", decimal=",", na_values="---", skiprows=3, header=None, encoding="latin-1"
    )[::-1]
    for column, ours, factor in ((9, series.temp_c, 1.0), (23, series.wind_m_s, 1 / 3.6)):
        np.testing.assert_allclose(ours, read[column].to_numpy(dtype=float) * factor)


def test_climate_reference_network(shared: Path, tmp_path: Path) -> None:
    file = tmp_path / "crn.txt"
    shutil.copy(shared / "data/CRNS0101-05-2019-AZ_Tucson_11_W.txt", file)
    station = Station(
        file,
        form="%Y%m%d %H%M",
        time=(2, 3),
        columns={
            "temperature": (9, "degC"),
            "solar": (11, "W/m2"),
            "humidity": (16, "percent"),
            "wind": (22, "m/s"),
            "dew_point": (19, "degC"),
        },
        header_rows=0,
        whole=True,
        delimiter=" ",
        missing=("-9999.0", "-99.000"),
    )
    at = int(datetime(2019, 1, 1, 16, 30, tzinfo=UTC).timestamp())
    first = station.look(at)
    assert first is not None
    assert (first.series.times - at).tolist() == [-1200, -900, -600]
    assert np.isnan(first.series.temp_c[0])
    assert first.series.temp_c[1:].tolist() == [3.3, 3.5]
    assert first.series.solar_w_m2.tolist() == [296.0, 183.0, 340.0]
    assert first.series.humidity_pct.tolist() == [90.0, 87.0, 83.0]
    assert first.series.wind_m_s.tolist() == [0.78, 0.36, 0.53]
    assert np.isnan(first.series.dew_point_c).all()
    last = station.look(at)  # the last line has no end; the file has stood still since
    assert last is not None
    assert last.series.temp_c.tolist() == [4.0]
