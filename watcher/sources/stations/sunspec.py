"""SunSpec meteorological models in a Modbus device, found by themselves.

A map starts with the letters SunS at one of three addresses; blocks follow, each with its model's
number and length. Models 307 (base), 308 (mini) and 302 (irradiance) hold weather. They give wind
in whole m/s and no gust. Source: the SunSpec Alliance's model definitions.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import structlog

from watcher.sources.base import SourceError
from watcher.sources.stations.modbus import MappedRegister, ModbusLine, Readable, RefusedError
from watcher.weather.quantities import in_unit

log = structlog.get_logger(__name__)

WIND_STEP_M_S = 1.0
"""Models 307 and 308 give the wind without decimals."""

_STARTS = (40_000, 50_000, 0)
_LETTERS = [0x5375, 0x6E53]
_END = 0xFFFF
_MOST_BLOCKS = 100
_NOT_IMPLEMENTED = {"int16": -0x8000, "uint16": 0xFFFF}


def _point(
    quantity: str, after: int, kind: Literal["int16", "uint16"], unit: str, scale: float = 1.0
) -> MappedRegister:
    """Return a point of a model, ``after`` the block's start, which holds number and length."""
    missing = _NOT_IMPLEMENTED[kind]
    return MappedRegister(in_unit(quantity, unit), after, type=kind, scale=scale, missing=missing)


# In order of preference, where a device holds several.
MODELS = {
    307: (
        _point("temperature", 2, "int16", "degC", 0.1),
        _point("humidity", 3, "int16", "percent"),
        _point("pressure", 4, "int16", "hPa"),
        _point("wind", 5, "int16", "m/s"),
        _point("wind_from", 6, "int16", "deg"),
    ),
    302: (_point("solar", 2, "uint16", "W/m2"),),
    308: (
        _point("solar", 2, "uint16", "W/m2"),
        _point("temperature", 4, "int16", "degC", 0.1),
        _point("wind", 5, "uint16", "m/s"),
    ),
}


@dataclass(frozen=True)
class _Block:
    """A block found in a device."""

    model: int
    start: int
    length: int

    async def sample(self, line: ModbusLine) -> dict[str, float]:
        points = [p for p in MODELS[self.model] if p.address < 2 + self.length]
        # In one request, so that speed and direction are of the same moment.
        words = await line.read("holding", self.start, 1 + max(p.address for p in points))
        if words[:2] != [self.model, self.length]:
            raise SourceError(
                f"model {self.model} is not at {self.start} any more; it is sought again"
            )
        values = {p.measure.quantity.column: p.value([words[p.address]]) for p in points}
        return {name: value for name, value in values.items() if value is not None}


@dataclass(frozen=True)
class _Blocks:
    """What a device holds of weather, the preferred last."""

    blocks: Sequence[_Block]

    async def sample(self, line: ModbusLine) -> dict[str, float]:
        found: dict[str, float] = {}
        for block in self.blocks:
            found |= await block.sample(line)
        return found


class SunspecMap:
    """The map that a device describes itself."""

    async def found(self, line: ModbusLine) -> Readable:
        """Return the blocks of weather in the device; raises ``SourceError`` without any."""
        start = await _start(line)
        blocks = await _blocks(line, start)
        weather = [block for block in blocks if block.model in MODELS and block.length]
        models = [block.model for block in blocks]
        if not weather:
            raise SourceError(
                f"the SunSpec map at {start} holds models {models} and none of weather "
                f"({', '.join(map(str, MODELS))}); check host and device"
            )
        log.info("SunSpec models found", models=models, start=start)
        by_preference = list(MODELS)
        weather.sort(key=lambda block: -by_preference.index(block.model))
        return _Blocks(weather)


async def _start(line: ModbusLine) -> int:
    for start in _STARTS:
        try:
            if await line.read("holding", start, 2) == _LETTERS:
                return start
        except RefusedError:
            continue
    raise SourceError(
        f"no SunSpec map starts at {', '.join(map(str, _STARTS))}; check host and device"
    )


async def _blocks(line: ModbusLine, start: int) -> Sequence[_Block]:
    found: list[_Block] = []
    at = start + len(_LETTERS)
    while len(found) < _MOST_BLOCKS and at < 0xFFFF:
        model, length = await line.read("holding", at, 2)
        if model == _END:
            return found
        found.append(_Block(model, at, length))
        at += 2 + length
    raise SourceError(f"the SunSpec map at {start} has no end; it cannot be trusted")
