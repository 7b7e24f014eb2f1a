"""An instrument on a network port and on a serial line (a pseudo-terminal)."""

import asyncio
import os
import tty
from collections.abc import AsyncIterator, Iterator
from itertools import cycle

import pytest

from tests.support.ear import listening
from tests.support.mosquitto import free_port
from tests.support.nmea import sentence
from watcher.sources.stations import nmea
from watcher.sources.stations.line import Patience
from watcher.sources.stations.nmea import (
    MANY,
    MOST_A_SECOND,
    NmeaAddress,
    NmeaSource,
    SerialPort,
    TcpPort,
    port_of,
)
from watcher.sources.stations.nmea_sentences import Sentences
from watcher.sources.stations.samples import Samples
from watcher.weather.series import Site

START = 1_781_272_800


class Instrument:
    """Speaks to whoever listens on a port of loopback."""

    def __init__(self) -> None:
        self._writers: list[asyncio.StreamWriter] = []
        self._heard = asyncio.Event()
        self.connections = 0

    async def start(self) -> None:
        self.server = await asyncio.start_server(self._accept, "127.0.0.1", 0)
        self.port: int = self.server.sockets[0].getsockname()[1]

    async def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers.append(writer)
        self.connections += 1
        self._heard.set()
        await reader.read()
        writer.close()

    async def say(self, *lines: bytes) -> None:
        await self._heard.wait()
        self._writers[-1].write(b"".join(lines))
        await self._writers[-1].drain()

    def cut(self) -> None:
        self._heard.clear()
        for writer in self._writers:
            writer.transport.abort()


class Ticking:
    """A clock that goes on by itself with every sentence heard."""

    def __init__(self, *steps: int) -> None:
        self._now = START
        self._steps = cycle(steps)

    def clock(self) -> int:
        self._now += next(self._steps)
        return self._now


async def hardly(seconds: float) -> None:
    """Stand in for the pause between tries."""
    await asyncio.sleep(min(seconds, 0.01))


@pytest.fixture
async def instrument() -> AsyncIterator[Instrument]:
    made = Instrument()
    await made.start()
    yield made
    made.cut()
    made.server.close()


def station(port: NmeaAddress, *steps: int, gusts: bool = False) -> NmeaSource:
    return NmeaSource(
        name="mast",
        port=port,
        sentences=Sentences(mast_points_deg=0.0),
        samples=Samples(every_s=60, gusts=gusts),
        site=Site(41.0, -96.0),
        clock=Ticking(*steps or (1,)).clock,
        patience=Patience(sleep=hardly),
    )


def wind(speed: float = 3.0) -> bytes:
    return sentence(f"WIMWV,200.0,R,{speed},M,A")


async def test_a_minute_of_sentences_makes_a_reading(instrument: Instrument) -> None:
    source = station(TcpPort("127.0.0.1", instrument.port), gusts=True)
    async with listening(source) as ear:
        await instrument.say(*[wind()] * 20, *[wind(9.0)] * 3, *[wind()] * 38)
        await ear.until(heard=1)
    assert ear.trouble == []
    assert ear.values("wind_m_s") == [(START + 60, pytest.approx((57 * 3.0 + 3 * 9.0) / 60))]
    assert ear.values("gust_m_s") == [(START + 60, pytest.approx(9.0))]
    assert ear.values("wind_from_deg") == [(START + 60, pytest.approx(200.0))]


async def test_sentences_of_one_second_add_to_each_other(instrument: Instrument) -> None:
    composite = sentence("WIMDA,,I,,B,17.7,C,,,43.3,,,C,,T,,M,,N,,M")
    async with listening(station(TcpPort("127.0.0.1", instrument.port), 5, 0)) as ear:
        await instrument.say(*[wind(), composite] * 13)
        await ear.until(heard=1)
    series = ear.heard[0].series
    assert (series.wind_m_s[0], series.temp_c[0]) == (pytest.approx(3.0), pytest.approx(17.7))
    assert series.humidity_pct[0] == pytest.approx(43.3)


async def test_a_cut_line_is_mended(instrument: Instrument) -> None:
    async with listening(station(TcpPort("127.0.0.1", instrument.port), 5)) as ear:
        await instrument.say(wind())
        instrument.cut()
        await ear.until(trouble=1)
        await instrument.say(*[wind()] * 30)
        await ear.until(heard=1)
    assert "was cut off" in ear.trouble[0]
    assert instrument.connections == 2


async def test_a_line_that_says_nothing_is_opened_anew(
    instrument: Instrument, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(nmea, "QUIET_S", 0.05)
    async with listening(station(TcpPort("127.0.0.1", instrument.port))) as ear:
        await ear.until(trouble=2)
    assert "has said nothing" in ear.trouble[0]
    assert instrument.connections >= 2


async def test_noise_now_and_then_is_no_trouble_and_never_a_value(instrument: Instrument) -> None:
    noise = b"$WIMWV,200.0,R,99.0,M,A*00\r\n\xff\xfe\n"
    async with listening(station(TcpPort("127.0.0.1", instrument.port))) as ear:
        await instrument.say(*[noise, wind()] * 61)
        await ear.until(heard=1)
    assert ear.trouble == []
    assert ear.values("wind_m_s") == [(START + 60, pytest.approx(3.0))]


@pytest.mark.parametrize("noise", [b"\x80\xf8\x00" * 30 + b"\n", b"$WIMWV,200.0,R,3.0,M,A\n"])
async def test_nothing_but_noise_is_told(instrument: Instrument, noise: bytes) -> None:
    async with listening(station(TcpPort("127.0.0.1", instrument.port))) as ear:
        await instrument.say(noise * MANY)
        await ear.until(trouble=1)
    assert "baud rate" in ear.trouble[0]
    assert ear.heard == []


async def test_a_line_without_end_ends_nothing(instrument: Instrument) -> None:
    async with listening(station(TcpPort("127.0.0.1", instrument.port), 5)) as ear:
        await instrument.say(b"x" * 100_000 + b"\n", *[wind()] * 30)
        await ear.until(heard=1)
    assert ear.trouble == []
    assert instrument.connections == 1


async def test_a_flood_of_lines_is_told_and_the_line_given_up(instrument: Instrument) -> None:
    async with listening(station(TcpPort("127.0.0.1", instrument.port))) as ear:
        await instrument.say(wind() * (3 * MOST_A_SECOND))
        await ear.until(trouble=1)
    assert "more than 1000 lines a second" in ear.trouble[0]


async def test_an_instrument_that_is_not_there_is_told() -> None:
    async with listening(station(TcpPort("127.0.0.1", free_port()))) as ear:
        await ear.until(trouble=3)
    assert "cannot be opened" in ear.trouble[0]


@pytest.fixture
def serial_line() -> Iterator[tuple[int, str]]:
    ours, theirs = os.openpty()
    tty.setraw(ours)
    yield ours, os.ttyname(theirs)
    os.close(ours)
    os.close(theirs)


async def test_a_serial_line_is_heard(serial_line: tuple[int, str]) -> None:
    ours, device = serial_line
    async with listening(station(SerialPort(device, 4800), 2)) as ear:
        for _ in range(1000):
            os.write(ours, wind())
            await asyncio.sleep(0.002)
            if ear.heard:
                break
    assert ear.values("wind_m_s")[0][1] == pytest.approx(3.0)
    assert ear.trouble == []


async def test_a_serial_device_that_is_not_there_is_told() -> None:
    async with listening(station(SerialPort("/dev/ttyNONE0"))) as ear:
        await ear.until(trouble=2)
    assert "/dev/ttyNONE0 at 4800 baud cannot be opened" in ear.trouble[0]


@pytest.mark.parametrize(
    ("address", "port"),
    [
        ("tcp://192.0.2.12:10110", TcpPort("192.0.2.12", 10110)),
        ("tcp://anemometer.example:23", TcpPort("anemometer.example", 23)),
        ("/dev/ttyUSB0", SerialPort("/dev/ttyUSB0", 9600)),
    ],
)
def test_an_address_names_a_network_port_or_a_device(address: str, port: NmeaAddress) -> None:
    assert port_of(address, 9600) == port
