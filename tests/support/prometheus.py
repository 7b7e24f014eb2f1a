"""A real Prometheus on loopback, with the scrape config and the rules that are handed out."""

import asyncio
import shutil
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

FILES = Path(__file__).parents[2] / "deploy" / "monitoring"
_DEADLINE_S = 60.0

needs_prometheus = pytest.mark.skipif(
    shutil.which("prometheus") is None or shutil.which("promtool") is None,
    reason="the programs prometheus and promtool are not installed (apt-get install prometheus)",
)


def config_for(folder: Path, target: str, token: str) -> Path:
    """Write the scrape config as an owner would: their address, their token's file, oftener."""
    secret = folder / "token"
    secret.write_text(token)
    text = (FILES / "prometheus.yml").read_text()
    for before, after in {
        "127.0.0.1:8047": target,
        "/etc/prometheus/weather-watch.token": str(secret),
        "interval: 30s": "interval: 1s",
        "- alerts.yml": f"- {FILES / 'alerts.yml'}",
    }.items():
        assert before in text
        text = text.replace(before, after)
    file = folder / "prometheus.yml"
    file.write_text(text)
    return file


@asynccontextmanager
async def prometheus(config: Path) -> AsyncIterator[httpx.AsyncClient]:
    """Run it, and hand out a client of its API."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"127.0.0.1:{free.getsockname()[1]}"
    process = await asyncio.create_subprocess_exec(
        "prometheus",
        f"--config.file={config}",
        f"--storage.tsdb.path={config.parent / 'tsdb'}",
        f"--web.listen-address={address}",
        stdout=asyncio.subprocess.DEVNULL,
        stderr=asyncio.subprocess.DEVNULL,
    )
    try:
        async with httpx.AsyncClient(
            base_url=f"http://{address}", trust_env=False, timeout=30
        ) as client:
            yield client
    finally:
        process.terminate()
        await process.wait()


async def asked(client: httpx.AsyncClient, query: str) -> list[dict[str, Any]]:
    """Evaluate a query; raises for one that cannot be."""
    answer = await client.get("/api/v1/query", params={"query": query})
    content = answer.json()
    assert content["status"] == "success", (query, content)
    found: list[dict[str, Any]] = content["data"]["result"]
    return found


async def until(client: httpx.AsyncClient, query: str) -> list[dict[str, Any]]:
    """Wait until a query finds something; returns what."""
    async with asyncio.timeout(_DEADLINE_S):
        while True:
            try:
                if found := await asked(client, query):
                    return found
            except (httpx.TransportError, ValueError):
                pass  # it has not begun to listen, or is not ready
            await asyncio.sleep(0.3)
