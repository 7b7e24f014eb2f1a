"""What a running watch at rest has not imported: see "What is imported, and when"."""

import json
import os
import socket
import subprocess
import sys
import time
from pathlib import Path

from tests.support.service_process import write_farm
from watcher.cli import startup
from watcher.service.kept_farm import keep, load_to_keep

_AFTER_THE_FIRST_JUDGEMENT = """
import asyncio, json, os, sys
from watcher.cli import running

real = running.serve

async def serve(watch, *rest, **more):
    serving = asyncio.create_task(real(watch, *rest, **more))
    while not watch.judged:
        assert not serving.done(), serving
        await asyncio.sleep(0.01)
    print(json.dumps(sorted(sys.modules)), flush=True)
    os._exit(0)

running.serve = serve
running.run()
"""
SELDOM = {
    "alembic": "a log of another version",
    "cbor2": "a station that posts CBOR",
    "cryptography": "a device that takes pushes",
    "defusedxml": "a file of outlines",
    "fpdf": "a record on paper",
    "highspy": "a plan",
    "icalendar": "a calendar",
    "jinja2": "a page",
    "jmespath": "a mapped source",
    "matplotlib": "a chart",
    "pandas": "tests",
    "PIL": "pictures of the ground",
    "pint": "tests",
    "prometheus_client": "a monitoring system",
    "psycopg": "a log on a server",
    "pyarrow": "a table in Parquet",
    "pyproj": "a shapefile",
    "scipy": "tests",
    "segno": "a QR code",
    "shapefile": "a shapefile",
    "timezonefinder": "a farm that was never checked",
    "tomlkit": "a change of the farm",
}
"""Libraries that cost something, and who asks for each."""


def test_at_rest_only_what_watching_needs_is_imported(tmp_path: Path) -> None:
    write_farm(tmp_path)
    farm, kept = tmp_path / "farm.toml", tmp_path / startup._KEPT_FARM
    _, texts = load_to_keep(farm, kept)
    keep(kept, farm, texts, int(time.time()))
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    settings = {
        "WATCHER_FARM": str(farm),
        "WATCHER_STATE_DIR": str(tmp_path),
        "WATCHER_PORT": str(port),
        "WATCHER_CONTACT": "grower@example.org",
        "WATCHER_PUSH_URLS__grower": "json://127.0.0.1:9/",
        "WATCHER_STATION_TOKENS__mast": "a-token-long-enough-to-be-one",
    }
    mine = {name: value for name, value in os.environ.items() if not name.startswith("WATCHER_")}
    # In a process of its own: this one has imported what other tests need.
    done = subprocess.run(
        [sys.executable, "-c", _AFTER_THE_FIRST_JUDGEMENT],
        env=mine | settings,
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    imported = {name.partition(".")[0] for name in json.loads(done.stdout)}
    assert {"numpy", "sqlalchemy", "fastapi"} <= imported
    assert {name: who for name, who in SELDOM.items() if name in imported} == {}
