"""Secrets for programs: that and since when each is set, never what it is; set and removed."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException, Path
from fastapi.responses import JSONResponse
from pydantic import Field, SecretStr

from watcher.i18n.language import Language
from watcher.i18n.message import Message, say
from watcher.service.kept_secrets import SecretKind, SecretRefusedError
from watcher.service.secrets_in_use import wanted
from watcher.web.api.endpoints import API, Answers, Asked, answers
from watcher.web.api.models import ApiModel, Wrong
from watcher.web.auth.users import User
from watcher.web.context import AppContext
from watcher.web.problem import problem

Name = Annotated[str, Path(max_length=60, description="A recipient or source of the farm file")]


class SecretAsked(ApiModel):
    """A secret to be kept."""

    secret: Annotated[SecretStr, Field(max_length=4000)]
    """The push address, token, password or key."""


class SecretSchema(ApiModel):
    """Whether a secret is set, and nothing of it."""

    kind: SecretKind
    name: str
    is_set: bool
    of_settings: bool
    """Whether it stands in the environment or settings file, which stand first."""
    at: int | None
    """When it was set, where that was done on a page or by a program. [epoch s]"""
    by: str | None
    """Who set it."""

    @classmethod
    def of(cls, context: AppContext, kind: SecretKind, name: str) -> "SecretSchema":
        """Tell of one."""
        state = context.secrets.known.state(kind, name)
        return cls(
            kind=kind,
            name=name,
            is_set=state is not None,
            of_settings=state is not None and state.of_settings,
            at=None if state is None else state.at,
            by=None if state is None else state.by or None,
        )


class SecretsSchema(ApiModel):
    """Every secret there is, or might be: as many as the farm file asks for."""

    secrets: list[SecretSchema]


_REFUSALS: Answers = {507: {"description": "It cannot be written", "model": Wrong}}


def router(context: AppContext) -> APIRouter:
    """Routes of the secrets."""
    routes = APIRouter(prefix="/api/v1/secrets", tags=["secrets"], **API)
    owner = Depends(context.auth.api_administrator)

    @routes.get("", responses=answers(401, 403))
    def every(_user: User = owner) -> SecretsSchema:
        """Every secret that the farm asks for or that is kept, and since when it is set."""
        asked = [(kind, name) for kind, names in wanted(context.farm).items() for name in names]
        found = dict.fromkeys([*asked, *context.secrets.left_over()])
        return SecretsSchema(secrets=[SecretSchema.of(context, kind, name) for kind, name in found])

    @routes.put(
        "/{kind}/{name}",
        response_model=SecretSchema,
        responses=answers(401, 403, 404, 413, 422) | _REFUSALS,
    )
    async def put(
        kind: SecretKind, name: Name, asked: SecretAsked, language: Asked, user: User = owner
    ) -> Any:
        """Set a secret, in place of the one before; it counts at once and is never shown."""
        if name not in wanted(context.farm)[kind]:
            raise HTTPException(404, "nothing of the farm file has this name")
        text = asked.secret.get_secret_value().strip()
        try:
            await context.secrets.keep(kind, name, text, by=user.name)
        except SecretRefusedError as refused:
            return _refused(language, 422, refused.wrong)
        except OSError as error:
            wrong = say("it cannot be written ({why})", why=str(error.strerror))
            return _refused(language, 507, wrong)
        return SecretSchema.of(context, kind, name)

    @routes.delete(
        "/{kind}/{name}",
        response_model=SecretSchema,
        responses=answers(401, 403, 404) | _REFUSALS,
    )
    async def delete(kind: SecretKind, name: Name, language: Asked, user: User = owner) -> Any:
        """Remove a secret that was set on a page or by a program."""
        try:
            if not await context.secrets.remove(kind, name, by=user.name):
                raise HTTPException(404, "no secret of this name is kept here")
        except OSError as error:
            wrong = say("it cannot be written ({why})", why=str(error.strerror))
            return _refused(language, 507, wrong)
        return SecretSchema.of(context, kind, name)

    return routes


def _refused(language: Language, status: int, wrong: Message) -> JSONResponse:
    title = say("The secret was not kept").render(language)
    return problem(status, wrong.render(language), title=title)
