"""What the screens of a first visit share: the farm that is entered, the log-in, the look."""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from pydantic import SecretStr

from watcher.delivery.web_push import WebPush
from watcher.farm import Farm
from watcher.i18n.language import ENGLISH, Language, accepted
from watcher.i18n.message import Message
from watcher.service.first_farm import FirstFarm
from watcher.service.kept_secrets import SecretKind, Secrets
from watcher.sources.tiles import TileClient
from watcher.web.auth.authenticator import Authenticator, Visitor
from watcher.web.map_editor import HERE
from watcher.web.renderer import Renderer


@dataclass
class FirstVisit:
    """What the screens share."""

    farm: FirstFarm
    auth: Authenticator
    unfit: Callable[[Farm], Sequence[Message]]
    """What of a farm does not fit the settings."""
    written: asyncio.Event
    """Set once the farm file is there."""
    by: str = ""
    """Who entered it."""
    address: str = ""
    """Where the pages are reached, as the settings have it; empty where not set."""
    tokens: Mapping[str, SecretStr] = field(default_factory=dict)
    """What a station posts with, by its name."""
    tokens_in_settings: frozenset[str] = frozenset()
    """Stations whose token is in the settings, and so is never shown."""
    secrets: Secrets = field(default_factory=Secrets)
    """Secrets of the settings, and those that are set here for the watch to come."""
    pushes: WebPush | None = None
    """The way to devices; None where there is no contact that push services ask for."""
    heard: dict[str, bytes] = field(default_factory=dict)
    """What each station sent last, in the course of this visit."""
    tiles: TileClient | None = None
    """Fetches pictures of the ground; None where none are set."""
    renderer: Renderer = field(default_factory=Renderer)

    def show(
        self, request: Request, template: str, status: int = 200, **values: Any
    ) -> HTMLResponse:
        """Return a screen."""
        visitor = self.auth.visitor(request)
        text = self.renderer.page(
            template,
            language_of(request),
            form_token=lambda: self.auth.form_token(visitor),
            **values,
        )
        page = HTMLResponse(text, status, headers=HERE)
        if visitor.user is None:  # its forms are bound to this device
            self.auth.enter(request, page, visitor.token)
        return page

    @property
    def addresses(self) -> Mapping[str, SecretStr]:
        """Push addresses, by whom they reach."""
        return self.secrets.all_of(SecretKind.PUSH)

    def owner(self, request: Request) -> Visitor:
        """Require who was let in by the link."""
        return self.auth.administrator(request)


def language_of(request: Request) -> Language:
    """Return the language a browser asks for."""
    return accepted(request.headers.get("accept-language", "")) or ENGLISH
