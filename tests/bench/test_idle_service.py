"""What the service costs while nothing happens, as a process of its own."""

import os
import time
from pathlib import Path

import pytest

from tests.support.receiver import Receiver
from tests.support.service_process import Service, write_farm

_WATCHED_S = 120


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _resident_mib(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    line = next(line for line in status.splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


@pytest.mark.bench
def test_cost_of_the_idle_service(tmp_path: Path) -> None:
    """A reading a minute, a judgement with each and every half minute, nobody spraying."""
    write_farm(tmp_path)
    receiver = Receiver()
    with Service(tmp_path, receiver.url().get_secret_value()) as service:
        cpu_s, watched_s, resident = _watch_idle(service)
    receiver.close()
    print(
        f"\nidle: {cpu_s / watched_s * 3600:.0f} CPU seconds an hour, {resident:.0f} MiB resident"
    )
    assert cpu_s / watched_s < 0.2
    assert resident < 300


def _watch_idle(service: Service) -> tuple[float, float, float]:
    """CPU seconds used, seconds watched, and MiB resident at the end."""
    service.start()
    assert service.post() in {200, 201, 202}
    time.sleep(5)
    before, started = _cpu_s(service.pid), time.monotonic()
    for _ in range(_WATCHED_S // 60):
        time.sleep(60)
        assert service.post() in {200, 201, 202}
    return _cpu_s(service.pid) - before, time.monotonic() - started, _resident_mib(service.pid)
