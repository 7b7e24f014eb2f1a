"""Every command in one application; a command's module is imported when the command is called.

All of them together take a second to import, most of it for the pages and the port, and most
commands need neither.
"""

import contextlib
import gc
import os
from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup
from typer.main import get_group

from watcher.cli.language import speak_as_the_machine
from watcher.i18n.language import Language, of_machine

_MODULES: Mapping[str, str] = {
    "check": "farm",
    "schema": "farm",
    "convert": "farm",
    "now": "now",
    "plan": "plan",
    "why": "now",
    "sources": "now",
    "farm": "farm_moving",
    "fleet": "fleet",
    "learn": "learn",
    "explain": "explain",
    "season": "season",
    "skill": "skill",
    "replay": "replay",
    "run": "running",
    "test-alert": "running",
    "messages": "messages",
    "seen": "messages",
    "passphrase": "login",
    "login-link": "login",
    "job": "job",
    "log": "log",
    "record": "record",
    "incident": "incident",
}
"""The module of every command, in the order in which they are listed."""


class _OnCall(Mapping[str, Any]):
    """Every command by its name, made when it is asked for."""

    def __getitem__(self, name: str) -> Any:
        with _nothing_collected():
            module = import_module(f"watcher.cli.{_MODULES[name]}")
        part = typer.Typer(add_completion=False)
        # A group even of one command, which alone would be taken for the whole program.
        part.callback()(_main)
        module.add_to(part)
        command = get_group(part).commands[name]
        _translated(command, of_machine(os.environ))
        return command

    def __iter__(self) -> Iterator[str]:
        return iter(_MODULES)

    def __len__(self) -> int:
        return len(_MODULES)


@contextlib.contextmanager
def _nothing_collected() -> Iterator[None]:
    """Leave the garbage collector out while modules are imported, and what they are made of to it.

    Nothing of a module is garbage. Looking for some again and again took 0.4 s of the 2.0 s of
    processor time that importing ``run`` took, and a fifth of a second each time it looked at
    everything while the watch ran.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


class _Commands(TyperGroup):
    def __init__(self, **options: Any) -> None:
        super().__init__(**options | {"commands": _OnCall()})
        self.help = in_language(self.help or "", of_machine(os.environ))


def _translated(command: Any, spoken: Language) -> None:
    """Put a command's own help into a language; what the command line's library says stays."""
    command.help = in_language(command.help or "", spoken)
    for parameter in command.params:
        text = getattr(parameter, "help", None)
        if text:
            parameter.help = in_language(text, spoken)
    if isinstance(command, TyperGroup):
        for part in command.commands.values():
            _translated(part, spoken)


def in_language(text: str, spoken: Language) -> str:
    """Return a help text, paragraph by paragraph, in a language."""
    if not text:
        return text  # the catalogue's entry of nothing is its head
    paragraphs = (" ".join(part.split()) for part in text.split("\n\n"))
    return "\n\n".join(spoken.translate(paragraph) for paragraph in paragraphs)


def _main() -> None:
    """A weather watch for growers who spray their own fields.

    The label is the law; this program never overrides it.
    """
    speak_as_the_machine()


app = typer.Typer(
    cls=_Commands, no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False
)
app.callback()(_main)
