"""Stations whose settings do not fit together, and the example farm's stations, which do."""

from pathlib import Path
from typing import Any

import pytest

from watcher.farm.load import load

MQTT = """
[sources.mast]
kind = "mqtt"
host = "broker.example"
topic = "farm/mast"
payload = "mapped"
measures = ["wind"]
quantities.wind = { at = "wind", unit = "km/h" }
"""
PUSH = """
[sources.mast]
kind = "push"
time = "ts"
time_format = "%d.%m.%Y %H%M"
time_zone = "UTC"
measures = ["rain"]
quantities.rain = { at = "tips", unit = "0.2 mm", reported_as = "total" }
"""
MODBUS = """
[sources.mast]
kind = "modbus"
host = "192.0.2.10"
measures = ["wind", "wind_from", "wind_spread"]
registers.wind = { address = 10, unit = "m/s" }
registers.wind_from = { address = 11, unit = "deg" }
"""
SUNSPEC = """
[sources.mast]
kind = "sunspec"
host = "192.0.2.10"
"""
CSV = """
[sources.mast]
kind = "csv"
files = "/srv/station/*.csv"
time = ["date", "hour"]
measures = ["wind"]
quantities.wind = { column = "mean_wind", unit = "km/h" }
"""
METAR = """
[sources.mast]
kind = "metar"
station = "KXYZ"
url = "https://reports.example/kxyz"
"""
THINGS = """
[sources.mast]
kind = "sensorthings"
url = "https://sta.example/v1.1"
measures = ["wind"]
quantities.wind = { datastream = 42 }
"""
NMEA = """
[sources.mast]
kind = "nmea"
address = "tcp://192.0.2.12:10110"
"""


@pytest.mark.parametrize("station", [MQTT, MODBUS, SUNSPEC, CSV, METAR, THINGS, NMEA])
def test_a_station_is_taken(farm: Any, station: str) -> None:
    assert load(farm.add(station).write()).config.sources["mast"].silent_after >= 900.0


@pytest.mark.parametrize(
    ("station", "was", "now"),
    [
        (MQTT, 'at = "wind"', 'at = "wind-avg"'),  # a name as it is sent
        (MQTT, "measures", 'session = "farm"\ntime = "ts"\nmeasures'),
        (MQTT, "measures", 'tls = true\nca_file = "/ca.pem"\nmeasures'),
        (MQTT, '"mapped"', '"senml"'),
        (MQTT, 'payload = "mapped"\nmeasures = ["wind"]\nquantities.wind =', "#"),
        (
            MQTT,
            'payload = "mapped"\nmeasures = ["wind"]\nquantities.wind = {',
            'payload = "readings" # {',
        ),
        (PUSH, '"%d.%m.%Y %H%M"', '"epoch"'),
        (PUSH, '"UTC"', '"-06:00"'),
        (PUSH, 'reported_as = "total"', 'reported_as = "amount"'),
        (MODBUS, "measures", 'gusts_from_samples = true\nevery = "3 s"\nmeasures'),
        (
            MODBUS,
            'measures = ["wind", "wind_from", "wind_spread"]',
            'gusts_from_samples = true\nmeasures = ["wind", "gust"]',
        ),
        (CSV, "measures", "header_rows = 3\nnames_row = 3\nmeasures"),
        (CSV, "measures", 'encoding = "latin-1"\nmeasures'),
        (CSV, "measures", 'delimiter = ";"\ndecimal = ","\nmeasures'),
        (METAR, "url = ", "file = "),
        (NMEA, "address", 'measures = ["solar"]\ntransducers.solar = "SUN"\naddress'),
        (NMEA, "address", 'measures = ["wind", "wind_spread", "pressure"]\naddress'),
    ],
)
def test_what_does_fit_together_is_taken(farm: Any, station: str, was: str, now: str) -> None:
    assert was in station
    load(farm.add(station.replace(was, now, 1)).write())


def test_columns_by_number_need_no_header(farm: Any) -> None:
    bare = CSV.replace('["date", "hour"]', "[1, 2]").replace('"mean_wind"', "3")
    load(farm.add(bare.replace("measures", "header_rows = 0\nmeasures")).write())


@pytest.mark.parametrize(
    ("form", "wrong"),
    [
        ("%Y-%m-%d %H:%M", None),
        ("%y%m%d%H%M", None),
        ("%Y %j %H%M", None),
        ("%d %b %Y %H:%M", None),
        ("%d %B %y %H:%M", None),
        ("%m-%d %H:%M", "year and day"),
        ("%j %H%M", "year and day"),
        ("%Y-%m %H:%M", "year and day"),
        ("%Y %d %H:%M", "year and day"),
        ("%Y %b %H:%M", "year and day"),
        ("%Y-%m-%d %U", "has %U, which is not read"),
        ("year", "is no format"),
    ],
)
def test_the_form_of_a_time_tells_year_and_day(farm: Any, form: str, wrong: str | None) -> None:
    farm.add(PUSH.replace("%d.%m.%Y %H%M", form))
    if wrong is None:
        load(farm.write())
    else:
        assert wrong in farm.problem().wrong


def test_the_stations_shown_in_the_example_farm_are_taken(farm: Any, example_path: Path) -> None:
    text = example_path.read_text(encoding="utf-8")
    shown = text[
        text.index("# [sources.mast]") : text.index("# ---", text.index("# [sources.mast]"))
    ]
    bare = "\n".join(line.removeprefix("#").removeprefix(" ") for line in shown.splitlines())
    sources = load(farm.add(bare).write()).config.sources
    kinds = {sources[name].kind for name in sources}
    assert kinds >= {"mqtt", "modbus", "sunspec", "csv", "metar", "sensorthings", "nmea"}


@pytest.mark.parametrize(
    ("station", "was", "now", "key"),
    [
        (MQTT, '"km/h"', '"kmph"', 'sources.mast.quantities.wind.unit = "kmph"'),
        (MQTT, '"km/h"', '"degC"', 'sources.mast.quantities.wind.unit = "degC"'),
        (MQTT, 'at = "wind"', 'at = "wind["', 'sources.mast.quantities.wind.at = "wind["'),
        (MQTT, '["wind"]', '["wind", "gust"]', "sources.mast.measures"),
        (MQTT, '"mapped"', '"readings"', 'sources.mast.payload = "readings"'),
        (
            MQTT,
            '"km/h"',
            '"km/h", reported_as = "total"',
            'sources.mast.quantities.wind.reported_as = "total"',
        ),
        (PUSH, "reported_as", "told", "sources.mast.quantities.rain.told"),
        (PUSH, '"0.2 mm"', '"0.2 mph"', 'sources.mast.quantities.rain.unit = "0.2 mph"'),
        (PUSH, '"%d.%m.%Y %H%M"', '"%H%M"', 'sources.mast.time_format = "%H%M"'),
        (PUSH, '"%d.%m.%Y %H%M"', '"%U"', 'sources.mast.time_format = "%U"'),
        (PUSH, '"UTC"', '"Mars"', 'sources.mast.time_zone = "Mars"'),
        (PUSH, '"tips"', '"tips["', 'sources.mast.quantities.rain.at = "tips["'),
        (PUSH, '["rain"]', '["rain", "wind"]', "sources.mast.measures"),
        (PUSH, "quantities.rain =", "#", 'sources.mast.time = "ts"'),
        (MQTT, "quantities.wind =", "#", "sources.mast.quantities"),
        (MQTT, "measures", 'ca_file = "/ca.pem"\nmeasures', 'sources.mast.ca_file = "/ca.pem"'),
        (MQTT, "measures", 'session = "farm"\nmeasures', 'sources.mast.session = "farm"'),
        (MQTT, '"broker.example"', '"mqtt://broker"', 'sources.mast.host = "mqtt://broker"'),
        (MQTT, "measures", 'interval = "20 min"\nmeasures', "sources.mast.silent_after"),
        (MODBUS, "address = 10", "address = 70000", "sources.mast.registers.wind.address = 70000"),
        (MODBUS, '"wind_spread"', '"gust"', "sources.mast.measures"),
        (
            MODBUS,
            "measures",
            'gusts_from_samples = true\nevery = "3.1 s"\nmeasures',
            "sources.mast.gusts_from_samples",
        ),
        (MODBUS, "registers.wind_from =", "registers.humidity =", "sources.mast.measures"),
        (MQTT, '"mapped"', '"senml"\ntime = "ts"', 'sources.mast.payload = "senml"'),
        (PUSH, '"UTC"', '"6:00"', 'sources.mast.time_zone = "6:00"'),
        (CSV, "measures", "names_row = 2\nmeasures", "sources.mast.names_row"),
        (
            SUNSPEC,
            "host",
            'wind_uncertainty = "0.1 m/s"\nhost',
            'sources.mast.wind_uncertainty = "0.1 m/s"',
        ),
        (SUNSPEC, "host", 'measures = ["gust"]\nhost', "sources.mast.measures"),
        (CSV, "measures", 'time_zone = "Mars/B"\nmeasures', 'sources.mast.time_zone = "Mars/B"'),
        (CSV, "measures", 'time_format = "dmy"\nmeasures', 'sources.mast.time_format = "dmy"'),
        (CSV, "measures", 'encoding = "utf-16"\nmeasures', 'sources.mast.encoding = "utf-16"'),
        (CSV, "measures", 'encoding = "utf-9"\nmeasures', 'sources.mast.encoding = "utf-9"'),
        (CSV, "measures", 'decimal = ","\nmeasures', "sources.mast.delimiter"),
        (CSV, "measures", "names_row = 3\nmeasures", "sources.mast.names_row"),
        (CSV, '["date", "hour"]', "[]", "sources.mast.time"),
        (CSV, '["date", "hour"]', '["date", 1.5]', "sources.mast.time (item 2) = 1.5"),
        (CSV, '"mean_wind"', "0", "sources.mast.quantities.wind.column = 0"),
        (THINGS, "42", "4.2", "sources.mast.quantities.wind.datastream = 4.2"),
        (METAR, 'url = "https://reports.example/kxyz"', "", "sources.mast.url"),
        (METAR, "url", 'file = "/srv/metar.txt"\nurl', 'sources.mast.url = "https://reports.example/kxyz"'),
        (METAR, "KXYZ", "kxyz", 'sources.mast.station = "kxyz"'),
        (METAR, "url", 'measures = ["solar"]\nurl', "sources.mast.measures"),
        (THINGS, "datastream = 42", "", "sources.mast.quantities.wind.datastream"),
        (NMEA, "tcp://", "udp://", 'sources.mast.address = "udp://192.0.2.12:10110"'),
        (NMEA, "address", 'measures = ["wind", "gust"]\naddress', "sources.mast.measures"),
        (NMEA, "address", 'place = [10.0, -96.0]\naddress', "sources.mast.place"),
    ],
)  # fmt: skip
def test_what_does_not_fit_together_is_told(
    farm: Any, station: str, was: str, now: str, key: str
) -> None:
    assert key in {p.key for p in farm.add(station).edit(was, now).problems()}


@pytest.mark.parametrize(
    ("station", "was", "now", "wrong", "mend"),
    [
        (MQTT, '"broker.example"', '"mqtt://broker"', "is not a host", "without http://"),
        (NMEA, "tcp://", "udp://", "no place where an instrument is heard", '"tcp://host:port"'),
        (NMEA, "address", "baud = 1200\naddress", "not one of the choices", "4800, 9600"),
        (CSV, "measures", 'delimiter = ""\nmeasures', "is empty", "write something"),
        (CSV, "measures", 'delimiter = ";;"\nmeasures', "has more than 1 character", "shorten it"),
    ],
)
def test_a_slip_is_told_with_a_mend_that_fits_the_key(
    farm: Any, station: str, was: str, now: str, wrong: str, mend: str
) -> None:
    problem = farm.add(station).edit(was, now).problem()
    assert wrong in problem.wrong
    assert mend in problem.mend


def test_a_source_that_is_no_table_is_told(farm: Any) -> None:
    problem = farm.add("[sources]\nmast = 1.5").edit("[sources.yard]", "[sources.y]").problems()[0]
    assert (problem.key, problem.wrong) == ("sources.mast = 1.5", "is not a table")
