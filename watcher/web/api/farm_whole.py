"""The farm as a whole for programs: out and in as an archive, seasons that end, fields copied."""

import asyncio
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, HTTPException, Query, Request, Response
from pydantic import Field

from watcher.farm.editing.season import Compass, FieldBegins, field_copied, season_ended
from watcher.service.farm_bundle import BundleError, read_bundle
from watcher.service.farm_editor import FarmEditor, FarmProposal
from watcher.service.farm_moving import take_out
from watcher.web.api.endpoints import API, FieldName, answers
from watcher.web.api.farm import CHANGED, Given, How, change
from watcher.web.api.farm_models import VersionSchema
from watcher.web.api.models import Asked as AskedModel
from watcher.web.api.paging import LINKED, Paged
from watcher.web.auth.users import User
from watcher.web.context import AppContext
from watcher.web.farm_in_use import in_use
from watcher.web.path_numbers import Number

_ZIP = "application/zip"
_KEPT_IN_MEMORY = 2**24
_ZIP_BODY = {
    "requestBody": {
        "required": True,
        "content": {_ZIP: {"schema": {"type": "string", "format": "binary"}}},
    }
}
_NewName = Annotated[str, Field(min_length=1, max_length=60)]


class FieldBeginsAsked(AskedModel):
    """How a field begins the new season."""

    weeds: Literal["clean", "moderate", "weedy"]
    crop: Annotated[str, Field(max_length=120)] = ""
    """Empty: the field's ``next_crop``, else the crop it had."""
    canopy: Annotated[str, Field(max_length=40)] = ""
    """Height of the crop, with its unit; empty while nothing stands there."""


class SeasonAsked(AskedModel):
    """A season that ends."""

    season: Annotated[str, Field(min_length=1, max_length=40)]
    """What it is called: "2026"."""
    fields: Annotated[dict[_NewName, FieldBeginsAsked], Field(max_length=2000)]
    """Every field of the farm, as it begins anew."""


class CopyAsked(AskedModel):
    """A field to be copied."""

    name: _NewName
    """What the copy is called."""
    side: Compass = "east"
    """To which side of the other field it is laid, where no ``geometry`` is given."""
    geometry: dict[str, Any] | None = None
    """Its boundary (RFC 7946)."""


def router(context: AppContext) -> APIRouter:
    """Routes of the farm as a whole."""
    routes = APIRouter(prefix="/api/v1/farm", tags=["farm"], **API)
    looker, owner = Depends(context.auth.api_looker), Depends(context.auth.api_administrator)

    @routes.get(
        "/export.zip",
        response_class=Response,
        responses=answers(401, 403, 404, 422)
        | {200: {"content": {_ZIP: {"schema": {"type": "string", "format": "binary"}}}}},
    )
    def export(
        readings: Annotated[
            bool, Query(description="With every reading the log still has whole")
        ] = False,
        _user: User = owner,
    ) -> Response:
        """The farm whole: files, versions, jobs and records in one archive, without secrets."""
        return archive_of(context, readings=readings)

    @routes.post("/import", openapi_extra=_ZIP_BODY, **CHANGED)
    async def read_in(request: Request, how: Given, user: User = owner) -> Response:
        """Make the farm's files those of an archive that was taken out elsewhere.

        Jobs, records and readings stay as they are here: ``watcher farm import`` reads those in,
        into an empty log. Sources may name no other files or machines than they do now.
        """
        with _read_here(how):
            bundle = await asyncio.to_thread(read_bundle, BytesIO(await request.body()))
        running = context.watch.transactions.plan.farm
        return await change(
            context,
            lambda editor, based_on: editor.propose_texts(
                running, bundle.farm, bundle.fields, based_on=based_on
            ),
            how,
            user,
        )

    @routes.get("/seasons", responses=answers(401, 404, 422) | LINKED)
    def seasons(page: Paged, _user: User = looker) -> list[VersionSchema]:
        """The farm as each archived season left it, the newest first."""
        kept = in_use(context).editor.versions
        every = (n for n in kept.numbers() if page.after is None or n < page.after)
        found = [one for one in filter(None, map(kept.one, every)) if one.season]
        return [VersionSchema.of(one) for one in page.of(found, [one.number for one in found])]

    @routes.get(
        "/versions/{number}/{file}",
        response_class=Response,
        responses=answers(401, 404, 422)
        | {200: {"content": {"text/plain": {"schema": {"type": "string"}}}}},
    )
    def file_of_version(
        number: Number, file: Literal["farm.toml", "fields.geojson"], _user: User = looker
    ) -> Response:
        """One of the farm's files as it was in a version, to be read."""
        found = in_use(context).editor.versions.one(number)
        if found is None:
            raise HTTPException(404, "no version of the farm has this number")
        text = found.farm if file == "farm.toml" else found.fields
        return Response(text, media_type="text/plain; charset=utf-8")

    @routes.post("/seasons", **CHANGED)
    async def archive(asked: SeasonAsked, how: Given, user: User = owner) -> Response:
        """End a season: the farm is kept under its name, and every field begins anew.

        Records and jobs stay. Of each field weeds, crop and height are as said here; its days and
        what was seen on it are taken out. Products and windows stay.
        """
        begins = {name: FieldBegins(**one.model_dump()) for name, one in asked.fields.items()}

        def propose(editor: FarmEditor, based_on: str | None) -> FarmProposal:
            farm = context.watch.transactions.plan.farm
            edits = season_ended(farm, editor.texts(), begins)
            return editor.propose(farm, edits, based_on=based_on)

        return await change(context, propose, how, user, season=asked.season)

    @routes.post("/fields/{field}/copy", **CHANGED)
    async def copy(field: FieldName, asked: CopyAsked, how: Given, user: User = owner) -> Response:
        """Add a field like another one, without what is of its season."""
        if field not in context.watch.transactions.plan.farm.config.fields:
            raise HTTPException(404, "no field of the farm has this name")

        def propose(editor: FarmEditor, based_on: str | None) -> FarmProposal:
            farm = context.watch.transactions.plan.farm
            where = asked.side if asked.geometry is None else asked.geometry
            edits = field_copied(farm, editor.texts(), field, asked.name, where)
            return editor.propose(farm, edits, based_on=based_on)

        return await change(context, propose, how, user)

    return routes


def archive_of(context: AppContext, *, readings: bool = False) -> Response:
    """Return the farm whole, as a file to keep."""
    found = in_use(context).editor
    with tempfile.SpooledTemporaryFile(_KEPT_IN_MEMORY) as into:
        log, now = context.watch.transactions.store, context.watch.clock.now()
        take_out(into, log, found.texts(), found.versions, now=now, readings=readings)
        into.seek(0)
        data = into.read()
    headers = {"Content-Disposition": 'attachment; filename="farm.zip"'}
    return Response(data, media_type=_ZIP, headers=headers)


@contextmanager
def _read_here(how: How) -> Iterator[None]:
    """Answer an archive that cannot be read in the language asked for."""
    try:
        yield
    except BundleError as error:
        raise HTTPException(422, error.text.render(how.language)) from error
