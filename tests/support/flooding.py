"""Clients that mean no good: silent connections by the thousand, and pages asked for in loops."""

import contextlib
import resource
import socket
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest

_ASKING = """
import asyncio, sys, time
host, port, cookie, clients, seconds = sys.argv[1], int(sys.argv[2]), *sys.argv[3:6]
paths = ["/", "/hours", "/jobs", "/log", "/fields/hill", "/login"]
answers = {}
async def ask(number, until):
    turn = number
    while time.monotonic() < until:
        turn += 1
        request = (f"GET {paths[turn % len(paths)]} HTTP/1.1\\r\\nHost: x\\r\\n"
                   f"Cookie: watcher={cookie}\\r\\nConnection: close\\r\\n\\r\\n")
        try:
            reader, writer = await asyncio.open_connection(host, port)
            writer.write(request.encode())
            answer = await asyncio.wait_for(reader.read(), 60)
            writer.close()
            status = answer[9:12].decode()
        except OSError:
            status = "none"
        answers[status] = answers.get(status, 0) + 1
async def main():
    until = time.monotonic() + float(seconds)
    await asyncio.gather(*(ask(number, until) for number in range(int(clients))))
asyncio.run(main())
print(answers)
"""


@contextlib.contextmanager
def silent_connections(port: int, count: int) -> Iterator[list[socket.socket]]:
    """Open so many connections that say nothing, and keep them."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    need = count + 500
    if hard != resource.RLIM_INFINITY and hard < need:
        pytest.skip(f"this process may open {hard} files, and {need} are needed")
    if soft < need:
        resource.setrlimit(resource.RLIMIT_NOFILE, (need, hard))
    opened: list[socket.socket] = []
    try:
        for _ in range(count):
            opened.append(socket.create_connection(("127.0.0.1", port), timeout=30))
        yield opened
    finally:
        for one in opened:
            one.close()
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


def still_open(connections: list[socket.socket]) -> int:
    """How many of them the other side has not closed."""
    count = 0
    for one in connections:
        one.setblocking(False)
        try:
            closed = one.recv(1) == b""
        except BlockingIOError:
            closed = False
        except OSError:
            closed = True
        count += not closed
    return count


@contextlib.contextmanager
def pages_in_loops(
    port: int, cookie: str, *, clients: int, seconds: float
) -> Iterator[subprocess.Popen[bytes]]:
    """Ask for pages, from a process of its own, with so many clients for so long."""
    asking = subprocess.Popen(
        [
            sys.executable,
            "-c",
            _ASKING,
            "127.0.0.1",
            str(port),
            cookie,
            str(clients),
            str(seconds),
        ],
        stdout=subprocess.PIPE,
    )
    try:
        time.sleep(1.0)  # until it asks
        yield asking
    finally:
        asking.kill()
        asking.wait()
        if asking.stdout is not None:
            asking.stdout.close()
