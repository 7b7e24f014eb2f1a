"""Every command in one application; a command's module is imported when the command is called.

All of them together take a second to import, most of it for the pages and the port, and most
commands need neither.
"""

from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup
from typer.main import get_group

_MODULES: Mapping[str, str] = {
    "check": "farm",
    "schema": "farm",
    "now": "now",
    "why": "now",
    "sources": "now",
    "explain": "explain",
    "season": "season",
    "replay": "replay",
    "run": "running",
    "test-alert": "running",
    "messages": "messages",
    "seen": "messages",
    "passphrase": "door",
    "login-link": "door",
    "job": "job",
    "log": "log",
    "record": "record",
}
"""The module of every command, in the order in which they are listed."""


class _OnCall(Mapping[str, Any]):
    """Every command by its name, made when it is asked for."""

    def __getitem__(self, name: str) -> Any:
        module = import_module(f"watcher.cli.{_MODULES[name]}")
        part = typer.Typer(add_completion=False)
        # A group even of one command, which alone would be taken for the whole program.
        part.callback()(_main)
        module.add_to(part)
        return get_group(part).commands[name]

    def __iter__(self) -> Iterator[str]:
        return iter(_MODULES)

    def __len__(self) -> int:
        return len(_MODULES)


class _Commands(TyperGroup):
    def __init__(self, **told: Any) -> None:
        super().__init__(**told | {"commands": _OnCall()})


def _main() -> None:
    """A weather watch for growers who spray their own fields.

    The label is the law; this program never overrides it.
    """


app = typer.Typer(
    cls=_Commands, no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False
)
app.callback()(_main)
