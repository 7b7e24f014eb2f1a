"""The weather now for programs: boom and mast apart, and no value where nobody is believed."""

from pathlib import Path

from tests.support.visiting import CALM, LOOKER, NOON, farm, visited

API = {"Authorization": f"Bearer {LOOKER}"}


async def test_it_tells_the_air_over_each_field_and_who_tells_it(tmp_path: Path) -> None:
    mast = {"kind": "push", "heights": {"wind": "3 m"}}
    async with visited(tmp_path, of=farm(sources={"mast": mast})) as v:
        answer = (await v.web.get("/api/v1/weather", headers=API)).json()
    [field, *_] = answer["fields"]
    assert (answer["at"], answer["old"]) == (NOON, False)
    assert 0 < field["boom_wind_m_s"] < field["mast_wind_m_s"] == 2.2352
    assert field["speaks"]["wind"] == {"source": "mast", "measured": True, "age_s": 0.0}
    assert field["delta_t_k"] > 0
    [mast] = answer["stations"]
    assert (mast["station"], mast["at"]) == ("mast", NOON)
    assert mast["values"]["wind_m_s"] == 2.2352


async def test_what_is_doubted_or_silent_is_null(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.service.clock.at += 60
        await v.service.post(**CALM | {"humidity": "140 %"})
        doubted = (await v.web.get("/api/v1/weather", headers=API)).json()["stations"][0]
        v.service.clock.at += 7200
        await v.service.judged()
        silent = (await v.web.get("/api/v1/weather", headers=API)).json()
    assert (doubted["at"], doubted["values"]["humidity_pct"]) == (NOON + 60, None)
    assert silent["stations"][0]["at"] is None
    assert set(silent["stations"][0]["values"].values()) == {None}
    assert {f["mast_gust_m_s"] for f in silent["fields"]} == {None}
