"""Registers over Modbus TCP, from a responder written for this and from another library's server.

The words of 32-bit numbers are worked by hand: 100 000 is 0x000186A0; 3.25 is 0x40500000 in
IEEE 754.
"""

import threading
from collections.abc import Iterator
from typing import Any

import pytest
from pyModbusTCP.server import DataBank, ModbusServer

from tests.support.ear import listening
from tests.support.fast_time import FastTime
from tests.support.modbus_responder import ModbusResponder
from tests.support.mosquitto import free_port
from watcher.sources.stations import modbus
from watcher.sources.stations.line import Patience
from watcher.sources.stations.modbus import MappedRegister, ModbusAddress, ModbusSource, RegisterMap
from watcher.sources.stations.samples import Samples
from watcher.weather.quantities import in_unit
from watcher.weather.series import Site

START = 1_781_272_800  # 2026-06-12 14:00 UTC


def wind(**given: Any) -> MappedRegister:
    return MappedRegister(in_unit("wind", "m/s"), 10, **given)


def temperature(**given: Any) -> MappedRegister:
    return MappedRegister(in_unit("temperature", "degC"), 20, **given)


def station(
    port: int,
    registers: list[MappedRegister],
    time: FastTime,
    *,
    device: int = 1,
    gusts: bool = False,
) -> ModbusSource:
    return ModbusSource(
        name="mast",
        port=ModbusAddress("127.0.0.1", port, device),
        map_=RegisterMap(registers),
        samples=Samples(every_s=60, gusts=gusts),
        every_s=2.0,
        site=Site(41.0, -96.0),
        clock=time.clock,
        patience=Patience(sleep=time.sleep),
    )


@pytest.mark.parametrize(
    ("register", "words", "value"),
    [
        (wind(scale=0.1, type="uint16"), [31], 3.1),
        (wind(type="uint16"), [0xFFFF], 65_535.0),
        (temperature(scale=0.1), [0xFFF6], -1.0),
        (temperature(scale=0.01, offset=-40.0), [6000], 20.0),
        (temperature(type="int32", scale=0.001), [0x0001, 0x86A0], 100.0),
        (temperature(type="int32", scale=0.001, words="low first"), [0x86A0, 0x0001], 100.0),
        (temperature(type="int32", scale=0.001), [0xFFFE, 0x7960], -100.0),
        (temperature(type="uint32", scale=0.001), [0x0001, 0x86A0], 100.0),
        (wind(type="float32"), [0x4050, 0x0000], 3.25),
        (wind(type="float32", words="low first"), [0x0000, 0x4050], 3.25),
        (MappedRegister(in_unit("wind", "km/h"), 10), [36], 10.0),
        (MappedRegister(in_unit("temperature", "degF"), 10), [50], 10.0),
    ],
)
def test_a_number_is_read_with_its_size_sign_order_scale_and_unit(
    register: MappedRegister, words: list[int], value: float
) -> None:
    assert register.value(words) == pytest.approx(value)


@pytest.mark.parametrize(
    ("register", "words"),
    [
        (wind(missing=-32_768), [0x8000]),
        (wind(type="uint16", missing=65_535), [0xFFFF]),
        (wind(type="float32"), [0x7FC0, 0x0000]),
        (wind(type="float32"), [0x7F80, 0x0000]),
        (wind(type="float32", missing=-9999.0), [0xC61C, 0x3C00]),
    ],
)
def test_a_number_that_stands_for_nothing_is_missing(
    register: MappedRegister, words: list[int]
) -> None:
    assert register.value(words) is None


async def test_a_minute_of_samples_makes_a_reading() -> None:
    time = FastTime()
    async with ModbusResponder() as device:
        device.holding[10] = 30
        device.input[20] = 205
        registers = [wind(scale=0.1), temperature(scale=0.1, table="input")]
        async with listening(station(device.port, registers, time)) as ear:
            await ear.until(heard=2)
            device.holding[10] = 50
            await ear.until(heard=4)
    assert ear.trouble == []
    assert ear.values("wind_m_s")[1] == (START + 120, pytest.approx(3.0))
    assert ear.values("wind_m_s")[3] == (START + 240, pytest.approx(5.0))
    assert ear.values("temp_c")[0] == (START + 60, pytest.approx(20.5))
    assert all(said.series.gust_m_s != said.series.gust_m_s for said in ear.heard)  # NaN
    assert {(3, 10, 1), (4, 20, 1)} == set(device.asked)


async def test_gusts_are_made_where_the_grower_says_that_samples_are_fresh() -> None:
    time = FastTime()
    async with ModbusResponder() as device:
        device.holding[10] = 3
        async with listening(station(device.port, [wind()], time, gusts=True)) as ear:
            await ear.until(heard=1)
    assert ear.values("gust_m_s") == [(START + 60, pytest.approx(3.0))]


async def test_a_missing_number_leaves_the_others() -> None:
    time = FastTime()
    async with ModbusResponder() as device:
        device.holding.update({10: 0x8000, 20: 205})
        registers = [wind(missing=-32_768), temperature(scale=0.1)]
        async with listening(station(device.port, registers, time)) as ear:
            await ear.until(heard=1)
    assert ear.values("temp_c") == [(START + 60, pytest.approx(20.5))]
    assert ear.heard[0].series.wind_m_s[0] != ear.heard[0].series.wind_m_s[0]  # NaN


async def test_a_register_that_is_not_there_is_told_with_its_address() -> None:
    device = ModbusResponder()
    async with device, listening(station(device.port, [wind()], FastTime())) as ear:
        await ear.until(trouble=2)
    assert "holding register 10: refused with exception code 2" in ear.trouble[0]
    assert ear.heard == []


async def test_another_unit_does_not_answer_for_ours() -> None:
    async with ModbusResponder(device=7) as device:
        device.holding[10] = 3
        async with listening(station(device.port, [wind()], FastTime())) as ear:
            await ear.until(trouble=1)
    assert "check device" in ear.trouble[0]


async def test_a_cut_line_is_mended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(modbus, "TIMEOUT_S", 0.2)
    time = FastTime()
    async with ModbusResponder() as device:
        device.holding[10] = 3
        async with listening(station(device.port, [wind()], time)) as ear:
            await ear.until(heard=1)
            device.cut()
            await ear.until(trouble=1, heard=3)
    assert {value for _, value in ear.values("wind_m_s")} == {3.0}
    assert "tried again" in ear.trouble[0]


async def test_a_device_that_is_not_there_is_told() -> None:
    async with listening(station(free_port(), [wind()], FastTime())) as ear:
        await ear.until(trouble=3)
    assert "is not to be had" in ear.trouble[0]


def silent(answer: bytes) -> bytes:
    del answer
    return b""


def short(answer: bytes) -> bytes:
    """An answer of one register less than was asked, well formed."""
    return (
        answer[:4] + bytes([0, answer[5] - 2]) + answer[6:8] + bytes([answer[8] - 2]) + answer[9:-2]
    )


def of_another_request(answer: bytes) -> bytes:
    return bytes([answer[0] ^ 0x55]) + answer[1:]


def of_another_unit(answer: bytes) -> bytes:
    return answer[:6] + bytes([answer[6] + 1]) + answer[7:]


def cut_off(answer: bytes) -> bytes:
    return answer[:-1]


def noise(answer: bytes) -> bytes:
    return bytes(byte ^ 0xFF for byte in answer)


@pytest.mark.parametrize(
    "spoil", [silent, short, of_another_request, of_another_unit, cut_off, noise]
)
async def test_a_spoilt_answer_is_trouble_and_never_a_value(
    spoil: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(modbus, "TIMEOUT_S", 0.1)
    time = FastTime()
    async with ModbusResponder() as device:
        device.holding.update({10: 3, 11: 0})
        device.spoil = spoil
        registers = [wind(type="uint32")]
        async with listening(station(device.port, registers, time)) as ear:
            await ear.until(trouble=2)
            assert ear.heard == []
            device.spoil = bytes
            await ear.until(heard=1)
    assert ear.values("wind_m_s")[0][1] == 3 * 65_536


@pytest.fixture
def other_library() -> Iterator[ModbusServer]:
    bank = DataBank(h_regs_size=100, i_regs_size=100)
    server = ModbusServer("127.0.0.1", free_port(), no_block=True, data_bank=bank)
    server.start()
    yield server
    server.stop()
    for thread in threading.enumerate():
        if thread is not threading.current_thread() and "process_request" in thread.name:
            thread.join(5)


async def test_a_server_of_another_library_is_read(other_library: ModbusServer) -> None:
    other_library.data_bank.set_holding_registers(10, [42])
    other_library.data_bank.set_input_registers(20, [0xFFF6])
    registers = [wind(scale=0.1), temperature(scale=0.1, table="input")]
    async with listening(station(other_library.port, registers, FastTime())) as ear:
        await ear.until(heard=1)
    assert ear.values("wind_m_s") == [(START + 60, pytest.approx(4.2))]
    assert ear.values("temp_c") == [(START + 60, pytest.approx(-1.0))]


async def test_a_server_of_another_library_refuses_what_it_has_not(
    other_library: ModbusServer,
) -> None:
    registers = [MappedRegister(in_unit("wind", "m/s"), 5000)]
    async with listening(station(other_library.port, registers, FastTime())) as ear:
        await ear.until(trouble=1)
    assert "exception code 2" in ear.trouble[0]
