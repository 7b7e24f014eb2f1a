"""The address of map tiles as an owner writes it: XYZ, or WMTS by KVP or REST (OGC 07-057r7).

The matrix set must be that of EPSG:3857, which OGC calls WebMercatorQuad. Tiles are numbered from
the north; "{-y}" is the row of a tile map service, which numbers from the south.
"""

import re
from dataclasses import dataclass
from urllib.parse import urlsplit

from pydantic import SecretStr

from watcher.i18n.message import Message, say
from watcher.web_mercator import Tile

KEY = "{key}"
GREATEST = 22
_PARTS = {
    "z": "z",
    "TileMatrix": "z",
    "x": "x",
    "TileCol": "x",
    "y": "y",
    "TileRow": "y",
    "-y": "-y",
    "key": "key",
}
_GAP = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True)
class MapPictures:
    """Where pictures of the ground come from, and who must be named beside them."""

    template: str
    attribution: str
    greatest_zoom: int = 19
    key: SecretStr | None = None

    def address(self, tile: Tile) -> str:
        """Return the address of a tile; the key stays a gap in it, so that nothing can show it."""
        numbers = {"z": tile.z, "x": tile.x, "y": tile.y, "-y": 2**tile.z - 1 - tile.y}

        def filled(gap: re.Match[str]) -> str:
            part = _PARTS[gap[1]]
            return KEY if part == "key" else str(numbers[part])

        return _GAP.sub(filled, self.template)

    @property
    def host(self) -> str:
        """The one machine that is asked."""
        return urlsplit(self.template).hostname or ""


def wrong_template(template: str) -> Message | None:
    """Say what is wrong with an address of tiles; None where nothing is."""
    try:
        parts = urlsplit(template)
        port_fits = parts.port is None or parts.port > 0
    except ValueError:
        return say("must be a whole web address")
    if parts.scheme not in {"http", "https"} or not parts.hostname or not port_fits:
        return say("must be a whole web address")
    if "{" in parts.netloc or "@" in parts.netloc or re.search(r"[\s#]", template):
        return say("must name one host, without user, gaps or #")
    gaps = _GAP.findall(template)
    unknown = [gap for gap in gaps if gap not in _PARTS]
    if unknown:
        return say("has a gap that is not known: {gap}", gap="{" + unknown[0][:40] + "}")
    if {"z", "x", "y"} - {_PARTS[gap].lstrip("-") for gap in gaps}:
        return say(
            "must have gaps for zoom, column and row: {xyz}, or {wmts}",
            xyz="{z} {x} {y}",
            wmts="{TileMatrix} {TileCol} {TileRow}",
        )
    return None
