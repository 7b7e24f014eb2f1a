"""The watch and its HTTP port in one process, started and stopped together."""

import asyncio
import contextlib
import signal
from collections.abc import Iterator

import uvicorn
from fastapi import FastAPI

from watcher.service.watch import Watch
from watcher.web.live import Streams


class _Server(uvicorn.Server):
    """A server that leaves signals to us: the watch must stop with it, in order."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


async def serve(watch: Watch, app: FastAPI, *, host: str, port: int) -> None:
    """Run watch and port until SIGTERM or SIGINT, or until one of them fails."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    server = _Server(
        uvicorn.Config(
            app,
            host=host,
            port=port,
            log_config=None,
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=5,
        )
    )
    async with asyncio.TaskGroup() as tasks:
        tasks.create_task(_serving(server, stop), name="http")
        await watch.run(stop)
        streams: Streams = app.state.streams
        streams.close()
        server.should_exit = True


async def _serving(server: uvicorn.Server, stop: asyncio.Event) -> None:
    """Serve; a port that cannot be opened stops the watch instead of leaving it deaf."""
    try:
        await server.serve()
    except SystemExit as error:  # how the server says that its port is taken
        raise RuntimeError(f"cannot listen on {server.config.host}:{server.config.port}") from error
    finally:
        stop.set()
