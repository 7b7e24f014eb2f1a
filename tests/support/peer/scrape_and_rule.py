"""The same rule in a scrape-and-rule stack: Prometheus looks, Alertmanager tells.

At the quickest settings that are usual: a scrape and an evaluation a second, no waiting before a
group is told. The station posts to an exporter, which shows its newest value.
"""

import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.support.mosquitto import free_port
from tests.support.peer.webhooks import Http, Phone

EVERY = "1s"
_STARTS_WITHIN_S = 60.0
_CONFIG = """
global: {{scrape_interval: {every}, evaluation_interval: {every}}}
rule_files: [rule.yml]
scrape_configs: [{{job_name: mast, static_configs: [{{targets: ["{exporter}"]}}]}}]
alerting: {{alertmanagers: [{{static_configs: [{{targets: ["{alertmanager}"]}}]}}]}}
"""
_RULE = """
groups: [{{name: gusts, rules: [{{alert: Gust, expr: "gust_m_s > {bound}", for: 0s}}]}}]
"""
_ROUTE = """
route: {{receiver: phone, group_by: [alertname], group_wait: 0s, group_interval: 1s}}
receivers: [{{name: phone, webhook_configs: [{{url: "http://{phone}/", send_resolved: true}}]}}]
"""


@contextmanager
def scrape_and_rule(folder: Path, phone: Phone, bound_m_s: float) -> Iterator[str]:
    """Run both; hand out where the station posts its gusts. Skips where they are not installed."""
    for program in ("prometheus", "prometheus-alertmanager"):
        if shutil.which(program) is None:
            pytest.skip(f"no {program} here (Debian package of that name)")
    gust = [0.0]
    with ExitStack() as running:
        exporter = running.enter_context(
            Http(
                lambda given: gust.__setitem__(0, given["gust_m_s"]),
                lambda: f"gust_m_s {gust[0]}\n",
            )
        )
        receiver = running.enter_context(Http(lambda given: phone.tell(_over(given))))
        alertmanager, prometheus = (f"127.0.0.1:{free_port()}" for _ in range(2))
        (folder / "route.yml").write_text(_ROUTE.format(phone=receiver.address))
        (folder / "rule.yml").write_text(_RULE.format(bound=bound_m_s))
        (folder / "prometheus.yml").write_text(
            _CONFIG.format(every=EVERY, exporter=exporter.address, alertmanager=alertmanager)
        )
        for command in (
            [
                "prometheus-alertmanager",
                f"--config.file={folder / 'route.yml'}",
                f"--storage.path={folder / 'alertmanager'}",
                f"--web.listen-address={alertmanager}",
                "--cluster.listen-address=",
            ],
            [
                "prometheus",
                f"--config.file={folder / 'prometheus.yml'}",
                f"--storage.tsdb.path={folder / 'tsdb'}",
                f"--web.listen-address={prometheus}",
            ],
        ):
            _run(running, command)
        _until_ready(f"http://{alertmanager}/-/ready")
        _until_ready(f"http://{prometheus}/-/ready")
        yield f"http://{exporter.address}/"


def _over(given: Any) -> bool:
    found: bool = given["status"] == "firing"
    return found


def _run(running: ExitStack, command: list[str]) -> None:
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    running.callback(process.wait)
    running.callback(process.terminate)


def _until_ready(url: str) -> None:
    until = time.monotonic() + _STARTS_WITHIN_S
    while time.monotonic() < until:
        try:
            if httpx.get(url, trust_env=False).status_code == httpx.codes.OK:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.1)
    raise AssertionError(f"{url} does not answer")
