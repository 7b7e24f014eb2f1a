"""A provider of map tiles on loopback: invented ground, each tile with its number in its colour."""

import asyncio
import io
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from PIL import Image

ATTRIBUTION = "Invented ground, for tests"


def tile_png(z: int = 0, x: int = 0, y: int = 0, side: int = 256) -> bytes:
    """A tile as PNG; neighbours differ in colour, so that a seam is seen."""
    body = io.BytesIO()
    ground = Image.new(
        "RGB", (side, side), (70 + 60 * (x % 2), 90 + 50 * (y % 2), 60 + 4 * (z % 9))
    )
    ground.save(body, "PNG")
    return body.getvalue()


@dataclass
class TileServer:
    """What was asked of it: path and User-Agent."""

    port: int = 0
    asked: list[tuple[str, str]] = field(default_factory=list)
    status: int = 200

    @property
    def template(self) -> str:
        """Its address as an owner writes it: by number, as it lies in their own network."""
        return f"http://127.0.0.1:{self.port}/ground/{{z}}/{{x}}/{{y}}.png"

    async def answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Answer the requests of one connection."""
        while head := await reader.readuntil(b"\r\n\r\n"):
            lines = head.decode().split("\r\n")
            path = lines[0].split(" ")[1]
            agent = next((one for one in lines if one.lower().startswith("user-agent:")), "")
            self.asked.append((path, agent.partition(": ")[2]))
            body = b""
            if self.status == 200:
                z, x, y = (int(part) for part in path.removesuffix(".png").split("/")[-3:])
                body = tile_png(z, x, y)
            writer.write(
                f"HTTP/1.1 {self.status} Told\r\nContent-Type: image/png\r\n"
                f"Cache-Control: max-age=86400\r\nContent-Length: {len(body)}\r\n\r\n".encode()
                + body
            )
            await writer.drain()


@asynccontextmanager
async def tile_server() -> AsyncIterator[TileServer]:
    """Serve tiles on a free port of loopback."""
    served = TileServer()

    async def connected(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            await served.answer(reader, writer)
        except (asyncio.IncompleteReadError, ConnectionError):
            writer.close()

    listening = await asyncio.start_server(connected, "127.0.0.1", 0)
    served.port = listening.sockets[0].getsockname()[1]
    async with listening:
        yield served
