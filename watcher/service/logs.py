"""Structured logs: one event a line, JSON for machines or plain text for people."""

import logging
import sys
import traceback
from typing import Literal

import structlog


def set_up(form: Literal["json", "text"], level: str) -> None:
    """Send our events and the libraries' warnings to standard error in one form."""
    shared: list[structlog.typing.Processor] = [
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.format_exc_info,
    ]
    structlog.configure(
        processors=[*shared, structlog.stdlib.ProcessorFormatter.wrap_for_formatter],
        logger_factory=structlog.stdlib.LoggerFactory(),
    )
    renderer: structlog.typing.Processor = (
        structlog.processors.JSONRenderer()
        if form == "json"
        else structlog.dev.ConsoleRenderer(colors=sys.stderr.isatty())
    )
    handler = logging.StreamHandler()
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=shared,
            processors=[structlog.stdlib.ProcessorFormatter.remove_processors_meta, renderer],
        )
    )
    logging.basicConfig(handlers=[handler], level=logging.WARNING, force=True)
    logging.getLogger("watcher").setLevel(level.upper())
    # That something is still at it since the last time is no fault, and the watch notes it itself.
    logging.getLogger("apscheduler").setLevel(logging.ERROR)


def trace(error: BaseException) -> str:
    """Return where an error came from, as plain text: quickly made, however large what it held."""
    return "".join(traceback.format_exception(error))
