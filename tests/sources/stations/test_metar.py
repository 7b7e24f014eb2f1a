"""Aerodrome reports: groups of WMO FM 15, months that roll over, and what no report may invent.

Real reports are NOAA's, with the values that two other decoders found in them: the Aviation Weather
Center's own (its JSON) and avwx-engine's (its test data).
"""

import asyncio
import json
import os
import re
from collections.abc import AsyncIterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import metpy.calc
import numpy as np
import pytest
from metpy.units import units

from watcher.sources.base import Flag, Observations, SourceError
from watcher.sources.feeds.mapped_json import MappedJsonFeed
from watcher.sources.http import FeedClient
from watcher.sources.stations.metar import FromAddress, FromFile, MetarSource, MetarText, reports
from watcher.sources.stations.metar_groups import cloud
from watcher.weather.series import Site, WeatherSeries

NOW = int(datetime(2026, 6, 12, 14, 0, tzinfo=UTC).timestamp())
KNOT = 1852 / 3600  # exact by definition


class OneText:
    """Text that a test tells, as it stands when asked."""

    def __init__(self, text: str) -> None:
        self.text = text

    async def read(self, now: int) -> MetarText:
        return MetarText(self.text.encode(), "the test", now)


def station(texts: Any, name: str = "KXYZ") -> MetarSource:
    return MetarSource(
        name="aerodrome", station=name, texts=texts, every_s=600.0, site=Site(41.0, -96.0)
    )


def poll(text: str, *, now: int = NOW, name: str = "KXYZ") -> Observations:
    found = asyncio.run(station(OneText(text), name).poll(now)).observations
    assert found is not None
    return found


def one(groups: str, *, now: int = NOW) -> WeatherSeries:
    """The one reading of a report with these groups, made at 13:55."""
    series = poll(f"METAR KXYZ 121355Z {groups}", now=now).series
    assert series.times.tolist() == [NOW - 300]
    return series


@pytest.mark.parametrize(
    ("group", "speed", "gust", "direction"),
    [
        ("28008G19KT", 8 * KNOT, 19 * KNOT, 280.0),
        ("32004G09MPS", 4.0, 9.0, 320.0),
        ("36012KMH", 12 / 3.6, np.nan, 360.0),
        ("32005KT", 5 * KNOT, np.nan, 320.0),
        ("VRB03KT", 3 * KNOT, np.nan, np.nan),
        ("VRB10G19MPS", 10.0, 19.0, np.nan),
        ("00000KT", 0.0, np.nan, np.nan),
        ("00000MPS", 0.0, np.nan, np.nan),
        ("240P99KT", np.nan, np.nan, 240.0),
        ("240P49MPS", np.nan, np.nan, 240.0),
        ("/////KT", np.nan, np.nan, np.nan),
        ("///05KT", 5 * KNOT, np.nan, np.nan),
        ("///12G25KT", 12 * KNOT, 25 * KNOT, np.nan),
        ("28008G19KT 250V320", 8 * KNOT, 19 * KNOT, 280.0),
    ],
)
def test_the_wind_group_is_read(group: str, speed: float, gust: float, direction: float) -> None:
    series = one(f"AUTO {group} 10SM CLR 22/12 A3001")
    assert series.wind_m_s[0] == pytest.approx(speed, rel=1e-5, nan_ok=True)
    assert series.gust_m_s[0] == pytest.approx(gust, rel=1e-5, nan_ok=True)
    assert series.wind_from_deg[0] == pytest.approx(direction, nan_ok=True)


@pytest.mark.parametrize(
    ("group", "wind", "gust"),
    [
        ("24005KT", None, (5 * KNOT, 15 * KNOT)),
        ("VRB03MPS", None, (3.0, 8.0)),
        ("00000KT", None, (0.0, 10 * KNOT)),
        ("24005G17KT", None, None),
        ("240P49MPS", (49.0, np.nan), (49.0, np.nan)),
        ("24040GP49MPS", None, (49.0, np.nan)),
        ("24005G//KT", None, (5 * KNOT, np.nan)),
        ("/////KT", None, None),
    ],
)
def test_what_a_wind_group_does_not_tell_lies_within_bounds(
    group: str, wind: tuple[float, float] | None, gust: tuple[float, float] | None
) -> None:
    """FM 15, 15.5.5 and 15.5.6; FMH-1, 5.4.4 (values from memory)."""
    series = one(f"AUTO {group} 10SM CLR 22/12 A3001")
    for name, expected in (("wind_m_s", wind), ("gust_m_s", gust)):
        found = [float(side[0]) for side in series.bound(name)]
        assert found == pytest.approx(expected or (np.nan, np.nan), rel=1e-6, nan_ok=True)


@pytest.mark.parametrize(
    "group",
    [
        "360G17G32KT",
        "06012G22TK",
        "VAB04KT",
        "15015GT20KT",
        "VRB10G19MPSM",
        "32004",
        "//////KT",
        "////// KT",
        "32O05",
        "P99KT",
        "0KT",
    ],
)
def test_a_garbled_wind_group_is_unknown_and_never_another_wind(group: str) -> None:
    series = one(f"{group} 10SM CLR 22/12 A3001")
    assert np.isnan([series.wind_m_s[0], series.gust_m_s[0], series.wind_from_deg[0]]).all()
    assert series.temp_c[0] == 22.0


@pytest.mark.parametrize(
    ("groups", "temp", "dew_point"),
    [
        ("22/12", 22.0, 12.0),
        ("M08/M11", -8.0, -11.0),
        ("M00/M01", 0.0, -1.0),
        ("10///", 10.0, np.nan),
        ("/////", np.nan, np.nan),
        ("XX/XX", np.nan, np.nan),
        ("M08/M11 A3059 RMK AO2 T10851110", -8.5, -11.0),
        ("14/M06 A3030 RMK AO2 SLP260 T01391056", 13.9, -5.6),
    ],
)
def test_temperature_and_dew_point_are_read(groups: str, temp: float, dew_point: float) -> None:
    series = one(f"32005KT 10SM CLR {groups}")
    assert series.temp_c[0] == pytest.approx(temp, nan_ok=True)
    assert series.dew_point_c[0] == pytest.approx(dew_point, nan_ok=True)


@pytest.mark.parametrize(
    ("groups", "cover", "ceiling_ft"),
    [
        ("FEW026 BKN055", 75.0, 5500),
        ("BKN050 OVC060", 100.0, 5000),
        ("FEW080 SCT130", 43.75, None),
        ("SCT015CB SCT026 BKN037 OVC130", 100.0, 3700),
        ("VV002", 100.0, 200),
        ("VV///", 100.0, None),
        ("CLR", 0.0, None),
        ("CAVOK", 0.0, None),
        ("9999", None, None),
        ("///015", None, None),
        ("10SM RMK OVC010", None, None),
    ],
)
def test_cloud_and_its_height_are_read(
    groups: str, cover: float | None, ceiling_ft: int | None
) -> None:
    found = cloud(f"KABC 121355Z 32005KT {groups} 22/12 Q1013")
    assert found.get("cloud_pct") == cover
    expected = None if ceiling_ft is None else pytest.approx(ceiling_ft * 0.3048)
    assert found.get("ceiling_m") == expected


def test_humidity_is_that_of_temperature_and_dew_point() -> None:
    expected = metpy.calc.relative_humidity_from_dewpoint(22.0 * units.degC, 12.0 * units.degC)
    assert one("32005KT 22/12").humidity_pct[0] == pytest.approx(
        float(expected.to("percent").magnitude), abs=0.3
    )
    assert np.isnan(one("32005KT 10///").humidity_pct[0])
    assert np.isnan(one("32005KT 12/22").humidity_pct[0])


def test_a_forecast_within_a_report_is_no_observation() -> None:
    series = one("AUTO 32007KT 280V340 CAVOK 15/05 Q1027 TEMPO 36020G40KT")
    assert series.wind_m_s[0] == pytest.approx(7 * KNOT, rel=1e-5)
    assert np.isnan(series.gust_m_s[0])


def test_a_report_whose_only_wind_is_forecast_has_none() -> None:
    series = one("CAVOK 15/05 Q1027 BECMG 36020G40KT")
    assert np.isnan(series.wind_m_s[0])


def test_the_peak_wind_of_the_last_hour_is_not_the_gust() -> None:
    series = one("VRB04KT 10SM CLR 22/12 A3001 RMK AO2 PK WND 28045/1330 T02170122")
    assert series.wind_m_s[0] == pytest.approx(4 * KNOT, rel=1e-5)
    assert np.isnan(series.gust_m_s[0])


def test_pressure_reduced_to_sea_level_is_not_taken_for_the_stations() -> None:
    assert np.isnan(one("32005KT 22/12 A3001 RMK SLP136").pressure_pa[0])


def test_a_whole_forecast_is_no_report() -> None:
    taf = "TAF KXYZ 121120Z 1212/1318 32015G30KT P6SM SKC FM121800 33020KT"
    assert list(reports(taf)) == []
    series = poll(
        "TAF AMD KXYZ 121340Z 1214/1318 32015G30KT\nMETAR KXYZ 121355Z 32005KT 22/12"
    ).series
    assert series.times.tolist() == [NOW - 300]
    assert series.wind_m_s.tolist() == [pytest.approx(5 * KNOT, rel=1e-5)]


def test_reports_run_together_are_told_apart() -> None:
    series = poll(
        "KXYZ 121355Z 32005KT 22/12 A3001 KXYZ 121255Z 31004KT 21/12= METAR KABC 121355Z 09011KT "
        "SPECI KXYZ 121330Z 33006KT 21/12 METAR COR KXYZ 121255Z 31014KT 21/12"
    ).series
    assert ((series.times - NOW) // 60).tolist() == [-65, -30, -5]
    knots = (series.wind_m_s / KNOT).round(3).tolist()
    assert knots == [14.0, 6.0, 5.0]


def test_a_correction_stands_wherever_it_comes() -> None:
    series = poll("METAR COR KXYZ 121355Z 31014KT 21/12\nMETAR KXYZ 121355Z 31004KT 21/12").series
    assert series.wind_m_s.tolist() == [pytest.approx(14 * KNOT, rel=1e-5)]


@pytest.mark.parametrize(
    ("head", "now", "made"),
    [
        ("312355Z", (2026, 8, 1, 0, 10), (2026, 7, 31, 23, 55)),
        ("312355Z", (2026, 1, 1, 0, 10), (2025, 12, 31, 23, 55)),
        ("282355Z", (2026, 3, 1, 0, 10), (2026, 2, 28, 23, 55)),
        ("292355Z", (2028, 3, 1, 0, 10), (2028, 2, 29, 23, 55)),
        ("010010Z", (2026, 8, 1, 0, 5), (2026, 8, 1, 0, 10)),
        ("010010Z", (2026, 7, 31, 23, 50), (2026, 8, 1, 0, 10)),
    ],
)
def test_the_month_rolls_over(head: str, now: tuple[int, ...], made: tuple[int, ...]) -> None:
    at = int(datetime(*now, tzinfo=UTC).timestamp())  # type: ignore[misc,arg-type]
    series = poll(f"METAR KXYZ {head} 32005KT 22/12", now=at).series
    assert series.times.tolist() == [int(datetime(*made, tzinfo=UTC).timestamp())]  # type: ignore[misc,arg-type]


@pytest.mark.parametrize("head", ["121600Z", "131355Z", "112355Z", "301355Z", "321355Z", "122555Z"])
def test_a_day_or_hour_that_is_not_of_late_is_never_made_one_of_now(head: str) -> None:
    source = station(OneText(f"METAR KXYZ {head} 32005KT 22/12"))
    if head == "112355Z":
        found = asyncio.run(source.poll(NOW)).observations
        assert found is not None
        assert found.series.times.tolist() == [NOW - 14 * 3600 - 300]
        return
    with pytest.raises(SourceError, match="up to date"):
        asyncio.run(source.poll(NOW))


def test_the_same_text_a_month_later_is_not_a_new_report() -> None:
    source = station(OneText("METAR KXYZ 121355Z 32005KT 22/12"))
    asyncio.run(source.poll(NOW))
    with pytest.raises(SourceError, match="up to date"):
        asyncio.run(source.poll(NOW + 30 * 86_400))


def test_a_report_dated_ahead_is_flagged() -> None:
    found = poll("METAR KXYZ 121410Z 32005KT 22/12")
    assert found.flags["wind_m_s"].tolist() == [Flag.FUTURE]


@pytest.mark.parametrize("text", ["", "No data", "METAR KABC 121355Z 32005KT 22/12", "<p>502</p>"])
def test_text_without_the_stations_reports_is_told(text: str) -> None:
    with pytest.raises(SourceError, match="no report of KXYZ"):
        poll(text)


@pytest.mark.parametrize("groups", ["NIL", "", "AUTO", "/////KT ////SM ///// A////"])
def test_a_report_of_nothing_is_told_and_no_reading(groups: str) -> None:
    with pytest.raises(SourceError, match="with values"):
        poll(f"METAR KXYZ 121355Z {groups}")


def test_a_file_is_dated_by_when_it_was_written_not_by_now(tmp_path: Path) -> None:
    file = tmp_path / "kxyz.txt"
    file.write_text("2026/06/12 13:55\nKXYZ 121355Z 32005KT 22/12\n")
    os.utime(file, (NOW, NOW))
    a_month_on = int(datetime(2026, 7, 12, 14, 0, tzinfo=UTC).timestamp())
    with pytest.raises(SourceError, match="up to date"):
        asyncio.run(station(FromFile(file)).poll(a_month_on))
    found = asyncio.run(station(FromFile(file)).poll(NOW + 60)).observations
    assert found is not None
    assert found.series.times.tolist() == [NOW - 300]


def test_of_a_file_that_grows_for_months_only_the_end_is_read(tmp_path: Path) -> None:
    file = tmp_path / "kxyz.txt"
    lines = [
        f"KXYZ 12{hour:02}55Z 3200{hour % 10}KT 22/12 A3001 RMK AO2 SLP136\n" for hour in range(24)
    ]
    file.write_text(
        "".join(lines) * 10 + "KXYZ 121255Z 31004KT 21/12\nKXYZ 121355Z 32005KT 22/12\n"
    )
    os.utime(file, (NOW, NOW))
    text = asyncio.run(FromFile(file).read(NOW)).body
    assert len(text) == 8192
    assert text.endswith(b"KXYZ 121355Z 32005KT 22/12\n")


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match="cannot be read"):
        asyncio.run(station(FromFile(tmp_path / "none.txt")).poll(NOW))


@pytest.fixture
async def answers() -> AsyncIterator[tuple[FeedClient, dict[str, httpx.Response]]]:
    found = {"": httpx.Response(200, text="METAR KXYZ 121355Z 32005KT 22/12\n")}

    async def no_sleep(seconds: float) -> None:
        del seconds

    transport = httpx.MockTransport(lambda request: found[""])
    async with FeedClient(contact="a@b.example", transport=transport, sleep=no_sleep) as client:
        yield client, found


async def test_text_is_read_from_an_address(answers: Any) -> None:
    client, said = answers
    source = station(FromAddress(client, "https://reports.example/kxyz.txt"))
    found = (await source.poll(NOW)).observations
    assert found is not None
    assert found.series.wind_m_s.tolist() == [pytest.approx(5 * KNOT, rel=1e-5)]
    said[""] = httpx.Response(200, text="METAR KXYZ 121400Z 32009KT 22/12\n")
    found = (await source.poll(NOW)).observations
    assert found is not None
    assert found.series.wind_m_s.tolist() == [pytest.approx(9 * KNOT, rel=1e-5)]


@pytest.mark.parametrize("status", [204, 404, 500])
async def test_an_address_that_refuses_is_told(answers: Any, status: int) -> None:
    client, found = answers
    found[""] = httpx.Response(status)
    with pytest.raises(SourceError, match=str(status)):
        await station(FromAddress(client, "https://reports.example/kxyz.txt")).poll(NOW)


@pytest.mark.parametrize("file", ["awc_metar_2026-07-21_us.json", "awc_metar_2026-09-27_intl.json"])
def test_the_aviation_weather_centers_decoder_agrees(shared: Path, file: str) -> None:
    found = json.loads((shared / "feeds/metar" / file).read_text())
    assert found
    for theirs in found:
        made = theirs["obsTime"]
        series = poll(theirs["rawOb"], now=made + 300, name=theirs["icaoId"]).series
        assert series.times.tolist() == [made]
        assert series.wind_m_s[0] / KNOT == pytest.approx(theirs["wspd"], rel=1e-4)
        if theirs["wspd"]:
            assert series.wind_from_deg[0] == theirs["wdir"]
        assert series.temp_c[0] == pytest.approx(theirs["temp"])
        assert series.dew_point_c[0] == pytest.approx(theirs["dewp"])
        assert np.isnan(series.gust_m_s[0]) == ("wgst" not in theirs)


@pytest.mark.parametrize("name", ["EGLL", "KJFK", "KMCO"])
def test_another_librarys_decoder_agrees(shared: Path, name: str) -> None:
    theirs = json.loads((shared / f"feeds/metar/avwx_{name}.json").read_text())["data"]
    made = int(datetime.fromisoformat(theirs["time"]["dt"]).replace(tzinfo=UTC).timestamp())
    series = poll(theirs["raw"], now=made + 300, name=name).series
    newest = series.at(slice(-1, None))
    assert newest.times.tolist() == [made]
    assert newest.wind_m_s[0] / KNOT == pytest.approx(theirs["wind_speed"]["value"], rel=1e-4)
    assert newest.wind_from_deg[0] == theirs["wind_direction"]["value"]
    assert round(float(newest.temp_c[0])) == theirs["temperature"]["value"]
    assert round(float(newest.dew_point_c[0])) == theirs["dewpoint"]["value"]


def test_every_raw_report_at_hand_is_read(shared: Path) -> None:
    lines = (shared / "feeds/metar/raw_metars.txt").read_text().splitlines()
    assert len(lines) == 15
    for line in lines:
        (report,) = reports(line)
        at = int(datetime(2026, 1, report.day, report.hour, report.minute, tzinfo=UTC).timestamp())
        series = poll(line, now=at, name=report.station).series
        assert np.isfinite([series.wind_m_s[0], series.temp_c[0], series.humidity_pct[0]]).all()
        assert np.isfinite(series.gust_m_s[0]) == ("G" in line.split("KT")[0].split()[-1])


def test_malformed_reports_at_hand_never_give_a_wind_of_their_own(shared: Path) -> None:
    cases = json.loads((shared / "feeds/metar/avwx_sanitize_metar_list_cases.json").read_text())
    true_winds = {"ENBO": 3 * KNOT, "KTRK": 0.0, "OPLA": 0.0}
    for case in cases:
        for report in reports(case["report"]):
            wind = report.values(NOW).get("wind_m_s", np.nan)
            true = true_winds.get(report.station, np.nan)
            assert wind == pytest.approx(true, rel=1e-4, nan_ok=True), case["report"]


@pytest.fixture
def shown(example_path: Path) -> dict[str, str]:
    """The expressions that the example farm shows for this JSON, for a station at hand."""
    text = example_path.read_text(encoding="utf-8")
    found = re.findall(r'^# *(\S+) = .*?"(map\(.*?\))"', text, re.MULTILINE)
    return {key: expression.replace("KXYZ", "YMML") for key, expression in found}


@pytest.fixture
def intl(shared: Path) -> str:
    return (shared / "feeds/metar/awc_metar_2026-09-27_intl.json").read_text()


async def test_the_centers_json_can_be_mapped_as_the_example_farm_says(
    shown: dict[str, str], intl: str
) -> None:
    units_of = {"wind": "kn", "gust": "kn", "temperature": "degC"}
    transport = httpx.MockTransport(lambda request: httpx.Response(200, text=intl))
    async with FeedClient(contact="a@b.example", transport=transport) as client:
        source = MappedJsonFeed(
            name="aerodrome",
            client=client,
            url="https://reports.example/metar",
            gives="observations",
            times=shown["times"],
            quantities={q: (shown[f"quantities.{q}"], unit) for q, unit in units_of.items()},
            site=Site(-37.7, 144.8),
            every_s=600.0,
        )
        found = (await source.poll(1_790_512_500)).observations
    assert found is not None
    assert found.series.times.tolist() == [1_790_511_480, 1_790_512_200]
    assert found.series.wind_m_s == pytest.approx([7 * KNOT, 7 * KNOT])
    assert np.isnan(found.series.gust_m_s).all()
