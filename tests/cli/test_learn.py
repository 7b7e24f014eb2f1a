"""``watcher learn``: an unknown station looked at, and written into the farm file when asked."""

import shutil
from collections.abc import Callable
from pathlib import Path

import cbor2
import pytest
import respx
from click.testing import Result
from typer.testing import CliRunner

from watcher.cli.app import app
from watcher.farm.feeds import MappedJson
from watcher.farm.load import load
from watcher.farm.stations import CsvStation, PushStation

EXAMPLE = Path(__file__).parents[2] / "config"
Learn = Callable[..., Result]
POSTED = (
    '{"dateutc":"2026-06-12 14:00:00","tempf":"68.0","humidity":"55","windspeedmph":"10",'
    '"windgustmph":"15","winddir":"NNW","battery":"1","dailyrainin":"0.12"}'
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("farm.toml", "fields.geojson"):
        shutil.copy(EXAMPLE / name, tmp_path)
    monkeypatch.setenv("WATCHER_FARM", str(tmp_path / "farm.toml"))
    monkeypatch.setenv("WATCHER_STATE_DIR", str(tmp_path))
    monkeypatch.setenv("COLUMNS", "250")
    return tmp_path


@pytest.fixture
def learn(folder: Path) -> Learn:
    def run(name: str, text: str, *more: str) -> Result:
        file = folder / name
        file.write_text(text)
        return CliRunner(env={"COLUMNS": "200"}).invoke(
            app, ["learn", str(file), "--name", "shed", *more]
        )

    return run


def test_what_a_station_posts_is_shown_raw_and_decoded_and_nothing_is_written(
    learn: Learn, folder: Path
) -> None:
    before = (folder / "farm.toml").read_bytes()
    result = learn("body.json", POSTED)
    assert result.exit_code == 0
    for part in (
        'wind = {at = "windspeedmph", unit = "mph"}',
        'rain = {at = "dailyrainin", unit = "in", reported_as = "total"}',
        'time_zone = "UTC"',
        "NNW → 337.5°",
        "10 → 10.0 mph",
        "Not read: battery",
        "Nothing was written",
    ):
        assert part in result.output
    assert (folder / "farm.toml").read_bytes() == before


def test_written_it_stands_beside_all_that_was_there(learn: Learn, folder: Path) -> None:
    before = (folder / "farm.toml").read_text()
    result = learn("body.json", POSTED, "--write")
    assert result.exit_code == 0, result.output
    after = (folder / "farm.toml").read_text()
    assert all(line in after.splitlines() for line in before.splitlines())
    entry = load(folder / "farm.toml").config.sources["shed"]
    assert isinstance(entry, PushStation)
    assert (entry.time, entry.time_zone) == ("dateutc", "UTC")
    assert entry.quantities["wind"].unit == "mph"
    assert set(entry.measures) == set(entry.quantities)


@pytest.mark.parametrize(
    "body",
    [
        b"dateutc=2026-06-12+14%3A00%3A00&tempf=68.0&windspeedmph=10&windgustmph=15&winddir=348",
        cbor2.dumps([{-2: "shed/", -3: 1781272800, 0: "spd", 1: "m/s", 2: 4.47}]),
        b"\x9f" + cbor2.dumps({-2: "shed/", -3: 1781272800, 0: "spd", 1: "m/s", 2: 4.47}),
        b'[{"bn":"shed/","bt":1781272800,"n":"spd","u":"m/s","v":4.47},\n'
        b'{"n":"gst","u":"m/s","v":6.2},\n',
    ],
    ids=["form", "SenML in CBOR", "SenSML in CBOR", "SenSML"],
)
def test_other_forms_that_stations_post_are_learned(
    learn: Learn, folder: Path, body: bytes
) -> None:
    (folder / "posted").write_bytes(body)
    result = CliRunner(env={"COLUMNS": "200"}).invoke(app, ["learn", str(folder / "posted")])
    assert result.exit_code == 0
    assert 'kind = "push"' in result.output
    assert "→ 10.0 mph" in result.output


def test_what_has_no_unit_yet_does_not_hide_the_rest(learn: Learn) -> None:
    result = learn("body.json", '{"ts": 1781272800000, "wind_avg": 3.2, "wind_deg": 210}')
    assert "3.2 → unit not known" in result.output
    assert "210 → 210.0°" in result.output
    assert "say it with --unit wind=UNIT" in result.output
    assert "refused" not in result.output


def test_where_no_unit_is_known_nothing_is_shown(learn: Learn) -> None:
    result = learn("log.csv", "time,wind,gust\n2026-06-12 09:01,3.1,4.0\n")
    assert "Nothing can be shown: no unit of it is known yet" in result.output
    assert "pydantic" not in result.output


def test_a_guess_is_not_written_before_it_is_confirmed(learn: Learn, folder: Path) -> None:
    text = "time,wind,rh\n" + "".join(f"2026-06-12T14:0{n}:00Z,{n},61\n" for n in range(5))
    before = (folder / "farm.toml").read_bytes()
    result = learn("log.csv", text, "--write")
    assert result.exit_code == 2
    assert "--unit wind=UNIT" in result.output
    assert (folder / "farm.toml").read_bytes() == before
    result = learn("log.csv", text, "--write", "--unit", "wind=km/h")
    assert result.exit_code == 0, result.output
    entry = load(folder / "farm.toml").config.sources["shed"]
    assert isinstance(entry, CsvStation)
    assert (entry.files, entry.quantities["wind"].unit) == (str(folder / "log.csv"), "km/h")


def test_a_name_that_is_taken_is_not_written_over(learn: Learn, folder: Path) -> None:
    first = learn("body.json", POSTED, "--write", "--time-zone", "UTC")
    assert first.exit_code == 0
    before = (folder / "farm.toml").read_bytes()
    again = learn("body.json", POSTED, "--write", "--time-zone", "UTC")
    assert again.exit_code == 2
    assert "choose a --name" in again.output
    assert (folder / "farm.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("name", "text", "why"),
    [
        ("empty.csv", "", "it is empty"),
        ("odd.json", '{"a": ', "is none"),
        ("strange.json", '{"foo": 1, "bar": 2}', "none of its names is known as weather: foo, bar"),
        ("prose.txt", "nothing to see\nhere at all\n", "none of its names is known as weather"),
    ],
)
def test_what_cannot_be_learned_is_said(learn: Learn, name: str, text: str, why: str) -> None:
    result = learn(name, text)
    assert result.exit_code == 2
    assert why in result.output


def test_what_would_be_doubted_is_shown(learn: Learn) -> None:
    body = (
        '[{"bn":"urn:x:","bt":1781272800,"n":"wind","u":"m/s","v":3},{"n":"rh","u":"%RH","v":140}]'
    )
    result = learn("pack.json", body)
    assert "Would be doubted: humidity, 1 of 1 values: out of range" in result.output


def test_no_such_file_is_one_clear_line(folder: Path) -> None:
    result = CliRunner().invoke(app, ["learn", str(folder / "nothing.csv")])
    assert result.exit_code == 2
    assert "there is no such file" in result.output


def test_an_address_is_proposed_as_a_feed_that_is_asked(
    folder: Path, respx_mock: respx.MockRouter
) -> None:
    url = "http://station.example/latest.json"
    rows = [
        {"time": f"2026-06-12T14:0{n}:00Z", "wind_kmh": 9 + n, "air": {"t_c": 20}} for n in (0, 1)
    ]
    respx_mock.get(url).respond(json={"rows": rows})
    result = CliRunner().invoke(app, ["learn", url, "--name", "coop", "--write"])
    assert result.exit_code == 0, result.output
    entry = load(folder / "farm.toml").config.sources["coop"]
    assert isinstance(entry, MappedJson)
    assert entry.times == "map(&time, rows)"
    assert entry.quantities["wind"].unit == "km/h"
    assert entry.quantities["temperature"].at == "map(&air.t_c, rows)"
