"""The farm's files for programs: read with an ETag, changed by If-Match, versions and undo.

Refusals are problem details (RFC 9457) that name every key with its mend.
"""

import asyncio
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, HTTPException, Path, Query, Request, Response
from fastapi.responses import JSONResponse

from watcher.farm.editing.difference import difference
from watcher.farm.editing.edits import (
    Edit,
    Remove,
    RemoveBoundary,
    SetBoundary,
    SetValue,
    of_merge_patch,
)
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.problems import FarmFileError, Problem
from watcher.i18n.language import Language
from watcher.i18n.message import Message, joined, render, say
from watcher.messages.farm_edit import loosened_line
from watcher.service.farm_editor import FarmEditor, FarmProposal, LoosensError, OutdatedError
from watcher.service.farm_versions import FarmVersion
from watcher.web.api.endpoints import API, Asked, answers
from watcher.web.api.farm_models import (
    BoundaryAsked,
    FarmChanged,
    FarmChangeSchema,
    FarmProblem,
    Mistake,
    VersionSchema,
    VersionWithChanges,
)
from watcher.web.api.geojson import IS_GEOJSON, as_geojson, fields_of, neighbours_of
from watcher.web.api.models import Wrong
from watcher.web.api.paging import LINKED, Paged
from watcher.web.auth.users import User
from watcher.web.context import AppContext
from watcher.web.farm_in_use import effect_said, in_use
from watcher.web.path_numbers import Number
from watcher.web.problem import PROBLEM

_BOUNDARIES = "boundaries"
Table = Annotated[str, Path(max_length=60, description="A table of the farm file, or boundaries")]
Entry = Annotated[str, Path(max_length=60, description="A name in the farm file")]
Propose = Callable[[FarmEditor, str | None], FarmProposal]

_REFUSALS: dict[int | str, dict[str, Any]] = {
    code: {"description": words, "model": FarmProblem}
    for code, words in {
        409: "A label or law would ask for less, and nobody said that its words changed",
        412: "The farm was changed since",
        422: "The farm would have mistakes, or the request is not understood",
        428: "If-Match is missing",
    }.items()
}
_REFUSALS[422]["model"] = FarmProblem | Wrong
_CHANGES = answers(401, 403, 404, 413) | _REFUSALS
CHANGED: dict[str, Any] = {"response_model": FarmChanged, "responses": _CHANGES}
_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            kind: {"schema": {"type": "object"}}
            for kind in ("application/merge-patch+json", "application/json")
        },
    }
}


@dataclass(frozen=True)
class How:
    """How a change is asked for."""

    language: Language
    based_on: str | None
    label_changed: bool
    dry_run: bool


def _how(
    language: Asked,
    if_match: Annotated[
        str | None,
        Header(max_length=200, description="The ETag the change is based on; * for any"),
    ] = None,
    label_changed: Annotated[
        bool,
        Query(description="Says that the label or law itself changed, where it asks for less"),
    ] = False,
    dry_run: Annotated[
        bool, Query(description="Changes nothing, and answers what would change")
    ] = False,
) -> How:
    return How(language, if_match, label_changed, dry_run)


Given = Annotated[How, Depends(_how)]


def router(context: AppContext) -> APIRouter:
    """Routes of the farm's files."""
    routes = APIRouter(prefix="/api/v1/farm", tags=["farm"], **API)
    looker, owner = Depends(context.auth.api_looker), Depends(context.auth.api_administrator)

    @routes.get("", responses=answers(401, 404))
    def whole(response: Response, _user: User = looker) -> dict[str, Any]:
        """The farm file as JSON: what is written in it, quantities with their units; no secrets."""
        texts = _texts(context)
        response.headers["ETag"] = f'"{texts.etag}"'
        found: dict[str, Any] = json.loads(json.dumps(texts.masked.raw, default=str))
        return found

    @routes.patch("", openapi_extra=_BODY, **CHANGED)
    async def patch(request: Request, how: Given, user: User = owner) -> Response:
        """Change what a JSON merge patch (RFC 7396) of the farm file names; null takes out.

        ``boundaries`` beside its tables holds those to draw by name, each with role and geometry.
        """
        body = await _object(request)
        drawn = body.pop(_BOUNDARIES, {})
        if not isinstance(drawn, dict):
            raise HTTPException(422, "boundaries must be an object, by name")
        shapes = [_boundary(name, asked) for name, asked in drawn.items()]
        texts = await asyncio.to_thread(_texts, context)
        edits = [*of_merge_patch(texts.raw, body), *shapes]
        return await change(context, _by_edits(context, edits), how, user)

    @routes.put("/{table}/{name}", openapi_extra=_BODY, **CHANGED)
    async def put(
        request: Request, table: Table, name: Entry, how: Given, user: User = owner
    ) -> Response:
        """Write an entry whole, such as ``fields/hill``, or a boundary: ``boundaries/hill``."""
        body = await _object(request)
        edit: Edit = SetValue((table, name), body)
        if table == _BOUNDARIES:
            edit = _boundary(name, body)
        return await change(context, _by_edits(context, [edit]), how, user)

    @routes.delete("/{table}/{name}", **CHANGED)
    async def delete(table: Table, name: Entry, how: Given, user: User = owner) -> Response:
        """Take an entry out; of a field or neighbour its boundary as well."""
        edits: list[Edit] = [Remove((table, name))]
        if table in {"fields", "neighbours"}:
            edits.append(RemoveBoundary(name))
        return await change(context, _by_edits(context, edits), how, user)

    @routes.get(
        "/boundaries.geojson",
        response_class=Response,
        responses=answers(401) | IS_GEOJSON,
    )
    def boundaries(_user: User = looker) -> Response:
        """The boundaries of fields and neighbours of the farm in use (RFC 7946)."""
        farm = context.watch.transactions.plan.farm
        return as_geojson([*fields_of(farm), *neighbours_of(farm)])

    @routes.get("/versions", responses=answers(401, 404, 422) | LINKED)
    def versions(page: Paged, _user: User = looker) -> list[VersionSchema]:
        """Every version that is kept, the newest first."""
        kept = in_use(context).editor.versions
        found = [n for n in kept.numbers() if page.after is None or n < page.after]
        numbers = page.of(found, found)
        return [VersionSchema.of(one) for one in filter(None, map(kept.one, numbers))]

    @routes.get("/versions/{number}", responses=answers(401, 404, 422))
    def version(number: Number, language: Asked, _user: User = looker) -> VersionWithChanges:
        """One version, with what it changed."""
        found = _version(context, number)
        before = in_use(context).editor.versions.before(number)
        changes = () if before is None else difference(before.texts, found.texts)
        return VersionWithChanges(
            **VersionSchema.of(found).model_dump(),
            changes=[FarmChangeSchema.of(one, language) for one in changes],
        )

    @routes.post("/versions/{number}/restore", **CHANGED)
    async def restore(number: Number, how: Given, user: User = owner) -> Response:
        """Make the farm as it was in a version; that of the one before undoes a change."""
        found = _version(context, number)
        running = context.watch.transactions.plan.farm
        return await change(
            context,
            lambda editor, based_on: editor.propose_version(running, found, based_on=based_on),
            how,
            user,
        )

    return routes


def _texts(context: AppContext) -> FarmTexts:
    try:
        return in_use(context).editor.texts()
    except FarmFileError as error:
        raise HTTPException(404, f"the farm's files cannot be read: {error}") from error


def _version(context: AppContext, number: int) -> FarmVersion:
    found = in_use(context).editor.versions.one(number)
    if found is None:
        raise HTTPException(404, "no version of the farm has this number")
    return found


async def _object(request: Request) -> dict[str, Any]:
    """The body of a request, an object that any file can hold."""
    try:
        body = json.loads(await request.body())
        json.dumps(body, ensure_ascii=False, allow_nan=False).encode()
    except (ValueError, RecursionError):
        raise HTTPException(422, "the body is not JSON that can be kept") from None
    if not isinstance(body, dict):
        raise HTTPException(422, "the body must be a JSON object")
    return body


def _boundary(name: str, asked: Any) -> Edit:
    if asked is None:
        return RemoveBoundary(name)
    try:
        found = BoundaryAsked.model_validate(asked)
    except ValueError:
        raise HTTPException(
            422, f"boundary of {name}: give its role, field or neighbour, and its geometry"
        ) from None
    return SetBoundary(name, found.role, found.geometry)


def _by_edits(context: AppContext, edits: Sequence[Edit]) -> Propose:
    running = context.watch.transactions.plan.farm
    return lambda editor, based_on: editor.propose(running, edits, based_on=based_on)


async def change(
    context: AppContext, propose: Propose, how: How, user: User, *, season: str = ""
) -> Response:
    """Make a change, or only look at it; or say why not."""
    editor = in_use(context).editor
    if how.based_on is None and not how.dry_run:
        wrong = say("send If-Match with the ETag of GET /api/v1/farm, or * for any")
        return _refused(how.language, 428, wrong)
    based_on = None if how.based_on in {None, "*"} else str(how.based_on).strip('W/" ')
    try:
        proposal = await asyncio.to_thread(propose, editor, based_on)
        effect = await asyncio.to_thread(effect_said, context, proposal)
        version = None
        if proposal.changes and not how.dry_run:
            saved = await in_use(context).save(
                proposal, by=user.name, label_changed=how.label_changed, season=season
            )
            version = VersionSchema.of(saved)
    except FarmFileError as error:
        return _mistaken(how.language, error.problems)
    except LoosensError as error:
        wrong = say(
            "a label or law would ask for less; where its words changed, say so by label_changed"
        )
        loosens = [loosened_line(one).render(how.language) for one in error.found]
        return _refused(how.language, 409, wrong, loosens=loosens)
    except OutdatedError as error:
        wrong = say("the farm was changed since; look at it and send this again")
        return _refused(how.language, 412, wrong, etag=error.texts.etag)
    answer = FarmChanged(
        version=version,
        changes=[FarmChangeSchema.of(one, how.language) for one in proposal.changes],
        effect=[line.render(how.language) for line in effect],
        loosens=[loosened_line(one).render(how.language) for one in proposal.loosened],
        waits=in_use(context).waits,
    )
    etag = proposal.before.etag if how.dry_run else proposal.after.etag
    return JSONResponse(answer.model_dump(), headers={"ETag": f'"{etag}"'})


def _mistaken(language: Language, problems: Sequence[Problem]) -> Response:
    mistakes = [
        Mistake(
            key=render(problem.key, language),
            wrong=problem.wrong.render(language),
            mend=problem.mend.render(language),
        )
        for problem in problems
    ]
    first = problems[0]
    wrong = joined([joined(filter(None, [first.key, first.wrong]), ": "), first.mend], "; ")
    return _refused(language, 422, wrong, mistakes=mistakes)


def _refused(language: Language, status: int, wrong: Message, **more: Any) -> Response:
    detail = wrong.render(language)
    title = say("The farm was not changed").render(language)
    body = FarmProblem(title=title, status=status, detail=detail, wrong=detail, **more)
    return JSONResponse(body.model_dump(), status_code=status, media_type=PROBLEM)
