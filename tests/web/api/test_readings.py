"""What a station is answered, and that pages, commands and figures say the same of it."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from prometheus_client.parser import text_string_to_metric_families
from typer.testing import CliRunner

from tests.support.farms import build, watched_tables
from tests.support.running import TOKEN
from tests.support.visiting import CALM, LOOKER, NOON, Visited, visited
from watcher.store import weather
from watcher.web.api.models import TakenSchema

AHEAD = "its clock is 3595 s ahead; its readings are not used"
SET_CLOCK = "Set its clock by the network, and see that it sends UTC or its own offset."


async def post(v: Visited, ahead_s: int = 0, token: str = TOKEN, **given: str) -> Any:
    time = datetime.fromtimestamp(v.service.clock.at + ahead_s, UTC).isoformat()
    return await v.service.http.post(
        "/api/v1/stations/mast/readings",
        json={"time": time} | given,
        headers={"Authorization": f"Bearer {token}"},
    )


async def minutes(v: Visited, count: int, **given: Any) -> Any:
    for _ in range(count):
        v.service.clock.at += 60
        answer = await post(v, **given)
    return answer.json()


async def test_a_good_reading_is_answered_with_a_sound_station(tmp_path: Path) -> None:
    async with visited(tmp_path, calm=False) as v:
        answer = (await post(v, **CALM)).json()
        assert TakenSchema.model_validate(answer)
        assert (answer["taken"], answer["new"], answer["doubted"], answer["not_used"]) == (
            1,
            1,
            [],
            [],
        )
        station = answer["station"]
        assert (station["state"], station["age_s"], station["findings"]) == ("fresh", 0, [])


async def test_the_address_that_stands_in_devices_is_the_same_door(tmp_path: Path) -> None:
    async with visited(tmp_path, calm=False) as v:
        time = datetime.fromtimestamp(NOON, UTC).isoformat()
        of_old, elsewhere = [
            await v.service.http.post(path, json={"time": time} | CALM)
            for path in ("/stations/mast/readings", "/api/readings/mast")
        ]
    assert (of_old.status_code, of_old.json()["new"]) == (200, 1)
    assert elsewhere.status_code == 404


async def test_what_cannot_be_is_kept_and_said_to_be_doubted(tmp_path: Path) -> None:
    async with visited(tmp_path, calm=False) as v:
        answer = await post(v, **CALM | {"humidity": "140 %", "pressure": "970 hPa"})
        assert answer.status_code == 200
        content = answer.json()
        assert content["doubted"] == [
            {
                "at": NOON,
                "quantity": "humidity",
                "findings": ["out of range"],
                "sentence": "humidity: out of range; kept, not used",
            }
        ]
        why = "the farm file does not name it among measures"
        assert content["not_used"] == [{"quantity": "pressure", "why": why}]


async def test_only_what_was_posted_is_said_to_be_doubted(tmp_path: Path) -> None:
    async with visited(tmp_path, calm=False) as v:
        await post(v, humidity="140 %")
        answer = (await post(v, temperature="20 degC")).json()
        assert (answer["new"], answer["doubted"]) == (1, [])


async def test_many_doubted_values_are_counted_and_some_told(tmp_path: Path) -> None:
    async with visited(tmp_path, calm=False) as v:
        batch = [
            {"time": datetime.fromtimestamp(NOON - n, UTC).isoformat(), "humidity": "140 %"}
            for n in range(80)
        ]
        answer = (await v.service.http.post("/api/v1/stations/mast/readings", json=batch)).json()
        assert (answer["taken"], len(answer["doubted"]), answer["doubted_count"]) == (80, 50, 80)


def command(folder: Path, monkeypatch: pytest.MonkeyPatch, now: int) -> str:
    from watcher.cli import now as module  # noqa: PLC0415  # what it asks for is put in its place
    from watcher.cli.app import app  # noqa: PLC0415

    monkeypatch.setenv("COLUMNS", "400")
    monkeypatch.setenv("WATCHER_STATE_DIR", str(folder))
    monkeypatch.setattr(module.time, "time", lambda: float(now))
    return CliRunner().invoke(app, ["sources"]).output


async def everywhere(v: Visited, folder: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """What is said of the station in each place, as text."""
    from watcher.cli import now as module  # noqa: PLC0415

    farm = v.service.watch.transactions.plan.farm
    monkeypatch.setattr(module, "open_farm", lambda _path: farm)
    await v.service.judged()
    v.log_in()
    page = (await v.web.get("/sources")).text
    spanish = (await v.web.get("/sources", headers={"Accept-Language": "es"})).text
    v.web.headers["Authorization"] = f"Bearer {LOOKER}"
    return {
        "page": page,
        "spanish": spanish,
        "api": (await v.web.get("/api/v1/health")).text,
        "health": (await v.service.http.get("/health")).text,
        "metrics": (await v.web.get("/metrics")).text,
        "command": command(folder, monkeypatch, v.service.clock.at),
    }


async def test_a_clock_ahead_is_told_in_the_same_words_everywhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with visited(tmp_path, calm=False) as v:
        found = await minutes(v, 5, ahead_s=3595, **CALM)
        assert found["doubted"][0]["findings"] == ["dated ahead of now"]
        assert found["station"]["state"] == "clock ahead, not relied on"
        assert found["station"]["clock_ahead_s"] == 3595
        finding = {"kind": "clock", "sentence": AHEAD, "mend": SET_CLOCK}
        assert finding in found["station"]["findings"]
        said = await everywhere(v, tmp_path, monkeypatch)
    for place in ("page", "api", "health", "command"):
        assert AHEAD in said[place], place
        assert SET_CLOCK in said[place], place
        assert "fresh" not in said[place].replace("refresh", ""), place
        assert "-3595" not in said[place], place
    assert "su reloj va 3595 s adelantado" in said["spanish"]
    assert 'watcher_source_clock_ahead_seconds{source="mast"} 3595.0' in said["metrics"]


async def test_other_units_are_told_in_the_same_words_everywhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sentence = "humidity looks like a fraction from 0 to 1, not %"
    async with visited(tmp_path, calm=False) as v:
        found = await minutes(v, 3, **CALM | {"humidity": "0.55 %"})
        assert found["station"]["units"] == {"humidity": "a fraction from 0 to 1, not %"}
        assert sentence in {f["sentence"] for f in found["station"]["findings"]}
        said = await everywhere(v, tmp_path, monkeypatch)
    for place in ("page", "api", "health", "command"):
        assert sentence in said[place], place
    assert "humedad: parece ser una fracción de 0 a 1, no %" in said["spanish"]
    assert 'unit_suspected{quantity="humidity",source="mast"} 1.0' in said["metrics"]


async def test_wrong_tokens_are_counted_and_shown_to_those_who_may_see(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with visited(tmp_path) as v:
        for _ in range(3):
            answer = await post(v, token="another-token-that-is-long", **CALM)
            assert answer.status_code == 401
            assert set(answer.json()) == {"type", "title", "status", "detail", "wrong"}
            assert "mast" not in answer.text
        said = await everywhere(v, tmp_path, monkeypatch)
    sentence = "posts with a wrong token in the last day: 3, the last 0 s ago, from 127.0.0.1"
    for place in ("page", "api", "command"):
        assert sentence in said[place], place
    assert "127.0.0.1" not in said["health"]
    assert "envíos con clave equivocada en el último día: 3" in said["spanish"]
    families = {f.name: f for f in text_string_to_metric_families(said["metrics"])}
    [sample] = families["watcher_posts_refused"].samples
    assert (sample.labels, sample.value) == ({"source": "mast", "reason": "token"}, 3.0)


async def test_a_strange_name_is_told_as_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with visited(tmp_path) as v:
        for name in ("mst", "%3Cscript%3E"):
            await v.service.http.post(f"/api/v1/stations/{name}/readings", json={})
        said = await everywhere(v, tmp_path, monkeypatch)
    for place in ("page", "command"):
        assert "posts in a name no station has in the last day: 2" in said[place], place
        assert "<script>" not in said[place].replace('<script src="', "")


async def test_posts_not_understood_are_told_with_the_last_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with visited(tmp_path) as v:
        assert (await post(v, wind="5")).status_code == 422
        assert (await post(v, winds="5 mph")).status_code == 422
        said = await everywhere(v, tmp_path, monkeypatch)
    for place in ("page", "api", "command"):
        assert "posts not understood in the last day: 2" in said[place], place
        assert "holds no reading; it has winds" in said[place], place
    assert "holds no reading; it has winds" not in said["health"]


async def test_a_fresh_station_says_how_often_it_reports(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with visited(tmp_path, calm=False) as v:
        await minutes(v, 5, **CALM)
        v.service.clock.at += 46
        said = await everywhere(v, tmp_path, monkeypatch)
    for place in ("page", "command"):
        assert "reports every 60 s, last 46 s ago" in said[place], place
    assert "informa cada 60 s, la última hace 46 s" in said["spanish"]
    assert 'watcher_source_interval_seconds{source="mast"} 60.0' in said["metrics"]


async def test_names_that_are_not_read_are_told_in_the_answer_and_of_the_station(
    tmp_path: Path,
) -> None:
    async with visited(tmp_path, calm=False) as v:
        answer = (await post(v, **CALM, battery="3.6 V", rssi="-70")).json()
        assert answer["ignored"] == ["battery", "rssi"]
        (finding,) = answer["station"]["findings"]
        assert (finding["kind"], finding["sentence"]) == (
            "not read",
            "sends what is not read: battery, rssi",
        )
        v.service.clock.at += 86_400
        assert (await post(v, **CALM)).json()["station"]["findings"] == []


async def test_a_count_of_rain_becomes_a_rate_from_post_to_post(tmp_path: Path) -> None:
    tables = watched_tables()
    tables["sources"]["mast"] |= {
        "time": "ts",
        "measures": ["wind", "rain"],
        "quantities": {
            "wind": {"at": "w", "unit": "km/h"},
            "rain": {"at": "tips", "unit": "0.2 mm", "reported_as": "total"},
        },
    }
    async with visited(tmp_path, of=build(tables), calm=False) as v:
        for minute, tips in enumerate((100, 100, 103, 103)):
            at = NOON + 60 * minute
            v.service.clock.at = at
            body = {"ts": at * 1000, "w": 9, "tips": tips}
            headers = {"Authorization": f"Bearer {TOKEN}"}
            answer = await v.service.http.post(
                "/api/v1/stations/mast/readings", json=body, headers=headers
            )
            assert answer.status_code == 200
            if minute == 2:  # sent again: changes nothing
                again = await v.service.http.post(
                    "/api/v1/stations/mast/readings", json=body, headers=headers
                )
                assert again.json()["new"] == 0
        with v.service.watch.transactions.store.reading() as session:
            series = weather.observations(session, "mast", NOON, NOON + 3600).series
    assert series.rain_mm_h.tolist() == pytest.approx([np.nan, 0, 36, 0], nan_ok=True)
    assert series.wind_m_s.tolist() == pytest.approx([2.5] * 4)
