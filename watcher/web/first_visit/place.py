"""The screen of the place: tapped on a map of the world, the phone's own, or typed."""

from collections.abc import Callable, Mapping, Sequence

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse

from watcher.farm.editing.edits import Edit, SetValue
from watcher.farm.geometry.importing import typed_place
from watcher.farm.problems import Problem
from watcher.farm.validation.places import zone_at
from watcher.i18n.language import ENGLISH, Language, accepted, codes, language
from watcher.i18n.message import Param, joined, say
from watcher.service.first_farm import FirstFarm
from watcher.sources.tile_address import MapPictures
from watcher.units import System
from watcher.web.auth.authenticator import Authenticator
from watcher.web.map_editor import MapEditor
from watcher.web.pages.farm_form import AtFaultError, Field, Row, edits

_LOOK_AT = "/first/place/look"
_NO_PLACE = say("is no place")
_MEND = say("write latitude, longitude: 41.6278, -96.9588")


def router(
    farm: FirstFarm, auth: Authenticator, language_of: Callable[[Request], Language]
) -> APIRouter:
    """Routes of the map: what a place comes to, for its script."""
    routes = APIRouter(include_in_schema=False)

    @routes.post(_LOOK_AT)
    async def looked(request: Request) -> Response:
        form = await auth.form(request, auth.administrator(request))
        place = typed_place(form.get("corners", ""))
        if place is None:
            wrong = joined([_NO_PLACE, _MEND], "; ").render(language_of(request))
            return JSONResponse({"wrong": wrong}, 422)
        return JSONResponse({"place": place, "area": zone_at(*place)})

    return routes


def editor(farm: FirstFarm, system: System, pictures: MapPictures | None) -> MapEditor:
    """Return what the map begins with: the place, or before there is one the world."""
    return MapEditor({}, farm.place, system, _LOOK_AT, pictures=pictures, one_place=True)


def fields() -> list[Field]:
    """Return what the screen asks."""
    languages: list[tuple[str, Param]] = [(code, language(code).name) for code in codes()]
    units: Sequence[tuple[str, Param]] = (
        ("us", say("mph, °F, gallons, acres")),
        ("metric", say("km/h, °C, litres, hectares")),
    )
    return [
        Field(
            "place",
            ("place",),
            say("Latitude and longitude of the farm"),
            hint=say(
                "such as {example}; phones show it in their maps", example="41.6278, -96.9588"
            ),
        ),
        Field("farm_name", ("farm", "name"), say("What the farm is called")),
        Field("units", ("farm", "units"), say("Units"), "choice", units),
        Field("language", ("farm", "language"), say("Language of alerts"), "choice", languages),
        Field(
            "zone",
            ("farm", "time_zone"),
            say("Clock: the time zone"),
            hint=say("leave it as it is: the clock of the place is taken"),
        ),
    ]


def placed(farm: FirstFarm, form: Mapping[str, str]) -> list[Edit]:
    """Return the edits of what was entered. Raises ``AtFaultError``."""
    found = edits(fields()[1:], form)
    place = typed_place(form.get("place", ""))
    if place is None:
        raise AtFaultError([Problem(farm.file, "place", _NO_PLACE, _MEND)])
    typed = form.get("zone", "").strip()
    if not typed or typed == form.get("was:zone", ""):  # nobody wants another than the place's
        found = [edit for edit in found if getattr(edit, "at", ()) != ("farm", "time_zone")]
        found.append(SetValue(("farm", "time_zone"), zone_at(*place)))
    # What is suggested is written as it stands, though nobody changed it.
    for key in ("units", "language"):
        if form.get(key):
            found.append(SetValue(("farm", key), form[key]))
    return found


def system_of(farm: FirstFarm, accept_language: str) -> System:
    """Return the units that were chosen, or before that those of the device's country."""
    chosen = farm.raw.get("farm", {}).get("units")
    of_us = accept_language.split(",", maxsplit=1)[0].strip().lower().endswith("-us")
    return "us" if chosen == "us" or (chosen is None and of_us) else "metric"


def suggested(farm: FirstFarm, asked: Sequence[Row], accept_language: str) -> list[Row]:
    """Return the rows with what the device's languages suggest, and the place as it was entered.

    Their ``was`` stays empty: what is suggested counts once it is sent.
    """
    known = {
        "place": "{:.5f}, {:.5f}".format(*farm.place) if farm.place else "",
        "units": system_of(farm, accept_language),
        "language": (accepted(accept_language) or ENGLISH).code,
    }
    return [
        row if row.value else Row(row.field, "", known.get(row.field.name, ""), row.wrong)
        for row in asked
    ]
