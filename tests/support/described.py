"""What models and commands say of themselves: texts of the catalogues that no call of say holds."""

from collections.abc import Iterator
from typing import Any, get_args

from pydantic import BaseModel
from typer.core import TyperGroup
from typer.main import get_command

from watcher.cli.app import app
from watcher.farm.models import FarmFile, Neighbour
from watcher.farm.rules.base import RuleBase
from watcher.farm.validation_messages import plain
from watcher.settings import Settings
from watcher.web.pages.rule_forms import IN_THE_FILE

Described = tuple[str, str]
"""A text and where it stands."""


def descriptions() -> Iterator[Described]:
    """Yield what errors say a missing key or a wrong setting is for, and what forms ask by."""
    models: dict[type[BaseModel], None] = {}
    _collect(FarmFile, models)
    for model in models:
        for name, field in model.model_fields.items():
            asked = issubclass(model, RuleBase | Neighbour) and name not in (*IN_THE_FILE, "kind")
            if field.description and (field.is_required() or asked):
                yield plain(field.description), f"{model.__name__}.{name}"
    for name, field in Settings.model_fields.items():
        if field.description:
            yield plain(field.description), f"Settings.{name}"


def _collect(annotation: Any, models: dict[type[BaseModel], None]) -> None:
    a_model = isinstance(annotation, type) and issubclass(annotation, BaseModel)
    if a_model and annotation not in models:
        models[annotation] = None
        for field in annotation.model_fields.values():
            _collect(field.annotation, models)
    for part in get_args(annotation):
        _collect(part, models)


def help_texts() -> Iterator[Described]:
    """Yield every paragraph of the help of every command."""
    yield from _help(get_command(app), "watcher")


def _help(command: Any, path: str) -> Iterator[Described]:
    texts = [command.help, *(getattr(p, "help", None) for p in command.params if p.name != "help")]
    for text in filter(None, texts):
        yield from ((" ".join(part.split()), path) for part in text.split("\n\n"))
    if isinstance(command, TyperGroup):
        for name in command.commands:
            yield from _help(command.commands[name], f"{path} {name}")
