"""The watch and its HTTP port in one process, started and stopped together."""

import asyncio
import contextlib
import logging
import math
import signal
import socket
import time
from collections.abc import Iterator, Sequence
from functools import partial

import uvicorn
from fastapi import FastAPI

from watcher.service.watch import Watch
from watcher.web.connections import LOOPBACK, Connection, Connections, Network
from watcher.web.log_throttle import LogThrottle, LogThrottleFilter
from watcher.web.streams import Streams

_MOST_HEADER_BYTES = 16 * 1024
_TAKEN_AT_ONCE = 64
"""Connections taken in one round of the event loop; they are counted in the next."""
_SWEPT_EVERY_TICKS = 5


class Server(uvicorn.Server):
    """A server that looks after its connections, and leaves signals to us: the watch must stop

    with it, in order.
    """

    def __init__(
        self,
        app: FastAPI,
        connections: Connections | None = None,
        *,
        proxies: Sequence[Network] = LOOPBACK,
    ) -> None:
        """``proxies`` are believed when they say for whom they ask; by default this machine's."""
        if connections is None:
            connections = Connections(time.monotonic, proxies=proxies)
        self.connections = connections
        super().__init__(
            uvicorn.Config(
                app,
                http=partial(Connection, self.connections),  # type: ignore[arg-type]
                ws="none",
                log_config=None,
                access_log=False,
                server_header=False,
                backlog=_TAKEN_AT_ONCE,
                h11_max_incomplete_event_size=_MOST_HEADER_BYTES,
                timeout_keep_alive=math.ceil(self.connections.deadlines.idle_s),
                timeout_graceful_shutdown=5,
                forwarded_allow_ips=[str(network) for network in proxies],
            )
        )

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield

    async def on_tick(self, counter: int) -> bool:
        """Do what is done ten times a second."""
        if counter % _SWEPT_EVERY_TICKS == 0:
            self.connections.sweep()
        return await super().on_tick(counter)


async def serve(
    watch: Watch,
    app: FastAPI,
    sockets: Sequence[socket.socket],
    *,
    proxies: Sequence[Network] = LOOPBACK,
) -> None:
    """Run watch and port until SIGTERM or SIGINT, or until one of them fails.

    ``sockets`` are the port, open already: ``watcher.web.listening``.
    """
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    server = Server(app, proxies=proxies)
    with _seldom_logged():
        async with asyncio.TaskGroup() as tasks:
            serving = tasks.create_task(_serving(server, sockets, stop), name="http")
            try:
                await watch.run(stop)
            finally:
                # Whatever ended the watch: it may start anew in this process, on the same port.
                kinds: Sequence[Streams] = app.state.streams
                for streams in kinds:
                    streams.close()
                server.should_exit = True
                await asyncio.wait({serving})


async def _serving(server: Server, sockets: Sequence[socket.socket], stop: asyncio.Event) -> None:
    """Serve; a port that fails stops the watch instead of leaving it deaf."""
    try:
        await server.serve(list(sockets))
    except SystemExit as error:
        raise RuntimeError("the web port could not be started") from error
    finally:
        stop.set()


@contextlib.contextmanager
def _seldom_logged() -> Iterator[None]:
    """Keep what the libraries say of single connections from filling the disk."""
    throttled = LogThrottleFilter(LogThrottle())
    loggers = [logging.getLogger(name) for name in ("uvicorn.error", "asyncio")]
    for logger in loggers:
        logger.addFilter(throttled)
    try:
        yield
    finally:
        for logger in loggers:
            logger.removeFilter(throttled)
