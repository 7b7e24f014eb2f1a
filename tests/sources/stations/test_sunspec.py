"""SunSpec meteorological models in a device: found, read, and what they do not give left unknown.

The models' definitions are the SunSpec Alliance's; where the reference material is at hand, ours
are held to them point by point.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support.ear import Ear, listening
from tests.support.fast_time import FastTime
from tests.support.modbus_responder import ModbusResponder
from watcher.sources.stations.line import Patience
from watcher.sources.stations.modbus import ModbusAddress, ModbusSource
from watcher.sources.stations.samples import Samples
from watcher.sources.stations.sunspec import MODELS, WIND_STEP_M_S, SunspecMap
from watcher.weather.series import Site

START = 1_781_272_800
LETTERS = [0x5375, 0x6E53]
COMMON = [1, 66, *[0] * 66]
BASE_MET = [307, 11, 215, 61, 987, 3, 200, *[0xFFFF] * 6]
MINI_MET = [308, 4, 640, 300, 188, 7]
IRRADIANCE = [302, 5, 812, *[0xFFFF] * 4]
END = [0xFFFF, 0]


def laid_out(start: int, *blocks: list[int]) -> dict[int, int]:
    words = LETTERS + [word for block in blocks for word in block] + END
    return dict(enumerate(words, start))


def station(port: int, *, gusts: bool = False) -> ModbusSource:
    time = FastTime()
    return ModbusSource(
        name="mast",
        port=ModbusAddress("127.0.0.1", port),
        map_=SunspecMap(),
        samples=Samples(every_s=60, gusts=gusts, step_m_s=WIND_STEP_M_S),
        every_s=2.0,
        site=Site(41.0, -96.0),
        clock=time.clock,
        patience=Patience(sleep=time.sleep),
    )


async def heard(words: dict[int, int], **given: Any) -> Ear:
    async with ModbusResponder() as device:
        device.tables[3] = words
        async with listening(station(device.port, **given)) as ear:
            await ear.until(heard=1)
    assert ear.trouble == []
    return ear


async def trouble(words: dict[int, int]) -> str:
    async with ModbusResponder() as device:
        device.tables[3] = words
        async with listening(station(device.port)) as ear:
            await ear.until(trouble=1)
    assert ear.heard == []
    return ear.trouble[0]


@pytest.mark.parametrize("start", [40_000, 50_000, 0])
async def test_the_map_is_found_at_any_of_its_starts(start: int) -> None:
    ear = await heard(laid_out(start, COMMON, BASE_MET))
    assert ear.values("wind_m_s") == [(START + 60, 3.0)]


async def test_the_base_model_is_read_in_its_units() -> None:
    series = (await heard(laid_out(40_000, COMMON, BASE_MET))).heard[0].series
    assert series.temp_c[0] == pytest.approx(21.5)
    assert series.humidity_pct[0] == pytest.approx(61.0)
    assert series.pressure_pa[0] == pytest.approx(98_700.0)
    assert series.wind_m_s[0] == pytest.approx(3.0)
    assert series.wind_from_deg[0] == pytest.approx(200.0)
    for unknown in (series.gust_m_s, series.rain_mm_h, series.solar_w_m2, series.dew_point_c):
        assert np.isnan(unknown[0])


async def test_the_mini_model_is_read() -> None:
    series = (await heard(laid_out(40_000, COMMON, MINI_MET))).heard[0].series
    assert series.temp_c[0] == pytest.approx(18.8)
    assert series.wind_m_s[0] == pytest.approx(7.0)
    assert series.solar_w_m2[0] == pytest.approx(640.0)
    assert np.isnan(series.wind_from_deg[0])


async def test_of_several_models_the_fuller_one_speaks() -> None:
    series = (await heard(laid_out(40_000, COMMON, MINI_MET, IRRADIANCE, BASE_MET))).heard[0].series
    assert (series.wind_m_s[0], series.solar_w_m2[0]) == (3.0, 812.0)


async def test_what_a_device_does_not_implement_is_missing() -> None:
    block = [307, 11, 0x8000, 61, 0x8000, 3, 0x8000, *[0xFFFF] * 6]
    series = (await heard(laid_out(40_000, COMMON, block))).heard[0].series
    assert np.isnan([series.temp_c[0], series.pressure_pa[0], series.wind_from_deg[0]]).all()
    assert series.humidity_pct[0] == pytest.approx(61.0)


async def test_a_short_block_gives_what_it_holds() -> None:
    ear = await heard(laid_out(40_000, COMMON, [307, 4, 215, 61, 987, 3]))
    assert ear.values("wind_m_s") == [(START + 60, 3.0)]
    assert np.isnan(ear.heard[0].series.wind_from_deg[0])


async def test_frost_is_below_zero() -> None:
    ear = await heard(laid_out(40_000, COMMON, [308, 4, 0, 0, 0xFFCE, 1]))
    assert ear.values("temp_c") == [(START + 60, pytest.approx(-5.0))]


async def test_a_gust_of_whole_speeds_may_be_half_a_metre_a_second_more() -> None:
    ear = await heard(laid_out(40_000, COMMON, BASE_MET), gusts=True)
    assert ear.values("gust_m_s") == [(START + 60, pytest.approx(3.5))]


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ({}, "no SunSpec map starts"),
        (dict.fromkeys(range(40_000, 40_200), 0), "no SunSpec map starts"),
        (laid_out(40_000, COMMON), "none of weather"),
        (laid_out(40_000, COMMON, [307, 0]), "none of weather"),
        (dict(enumerate([*LETTERS, *[1, 0] * 500], 40_000)), "has no end"),
        (dict(enumerate([*LETTERS, 1, 66], 40_000)), "exception code 2"),
    ],
)
async def test_a_device_without_weather_is_told(words: dict[int, int], why: str) -> None:
    assert why in await trouble(words)


async def test_a_map_that_moves_is_found_again() -> None:
    async with ModbusResponder() as device:
        device.tables[3] = laid_out(40_000, COMMON, BASE_MET)
        async with listening(station(device.port)) as ear:
            await ear.until(heard=1)
            device.tables[3] = laid_out(40_000, MINI_MET, COMMON)
            await ear.until(trouble=1, heard=3)
    assert ear.values("wind_m_s")[-1][1] == pytest.approx(7.0)


@pytest.mark.parametrize("model", sorted(MODELS))
def test_points_are_those_of_the_published_model(shared: Path, model: int) -> None:
    found = json.loads((shared / f"feeds/sunspec/model_{model}.json").read_text())["group"]
    points = found["points"] + [p for group in found.get("groups", []) for p in group["points"]]
    place, published = 0, {}
    for point in points:
        published[place] = point
        place += point["size"]
    units = {"C": "degC", "Pct": "percent", "HPa": "hPa", "mps": "m/s", "deg": "deg"}
    for ours in MODELS[model]:
        theirs = published[ours.address]
        assert theirs["type"] == ours.type
        assert units.get(theirs["units"], theirs["units"]) == ours.measure.unit
        assert ours.scale == pytest.approx(10.0 ** theirs.get("sf", 0))
        named = {
            "TmpAmb": "temperature",
            "RH": "humidity",
            "Pres": "pressure",
            "WndSpd": "wind",
            "WndDir": "wind_from",
            "GHI": "solar",
        }
        assert named[theirs["name"]] == ours.measure.quantity.name
