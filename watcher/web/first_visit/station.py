"""The screen of the station: what it sends, posted or pasted, is shown as it is understood.

What is proposed is what ``watcher learn`` proposes, and nothing that is only guessed is kept
before the owner has said that it is so.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from fastapi import APIRouter, Header, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse

from watcher.farm.editing.edits import Edit, SetValue
from watcher.farm.geometry.importing import typed_place
from watcher.farm.problems import Problem
from watcher.farm.validation_messages import dotted
from watcher.i18n.message import Message, Param, say
from watcher.messages.sources import quantity_names
from watcher.service.learning import (
    Heard,
    NothingLearnedError,
    Proposal,
    ReadValue,
    decoded,
    propose,
    read_values,
)
from watcher.sources.base import SourceError
from watcher.units import Kind, System
from watcher.weather.quantities import BY_NAME
from watcher.web.api.readings import bounded_body, knows
from watcher.web.first_visit import steps
from watcher.web.first_visit.steps import AtFaultError
from watcher.web.first_visit.visit import FirstVisit
from watcher.web.pages.farm_form import Field, Row, Typed, elsewhere, of_mistakes, rows

_YARD = "yard"
_WANTED = ("wind", "gust", "wind_from", "temperature", "humidity")
"""What the judgement asks of the air of now; what is missing leaves limits unknown."""
_MOST_BYTES = 280_000
"""A day of minutes, as a form packs it."""
_MOST_SHOWN = 8_000
_SENT = Field("sent", ("sent",), say("Or paste here what it sends"), "long")


@dataclass(frozen=True)
class _Understood:
    """What was made of what a station sends."""

    proposal: Proposal
    moment: int | None
    """Of the newest reading; None where none can be read yet. [epoch s]"""
    values: Sequence[ReadValue]
    asks: Sequence[Field]
    """What only the owner knows."""
    problems: Sequence[Problem] = ()
    """Why nothing can be read of it."""

    @property
    def guessed(self) -> dict[str, str]:
        """What the numbers suggest, by the name of what is asked."""
        units = {f"unit:{one.quantity}": one.unit or "" for one in self.proposal.units.values()}
        zone = str(self.proposal.entry.get("time_zone", ""))
        return {one.name: (units | {"zone": zone}).get(one.name, "") for one in self.asks}

    @property
    def missing(self) -> list[str]:
        """What the judgement wants and it does not tell."""
        return [name for name in _WANTED if name not in self.proposal.entry["measures"]]


def router(visit: FirstVisit) -> APIRouter:
    """Routes of the screen, and of the station that tries its line."""
    routes = APIRouter()
    step = steps.BY_KEY["station"]

    def show(
        request: Request,
        form: Mapping[str, str],
        found: _Understood | None = None,
        problems: Sequence[Problem] = (),
    ) -> Response:
        name, body = _name(visit), _body(visit, form)
        asked = [_SENT, *_places(name, visit), *(found.asks if found else ())]
        if found is not None:  # what it looks like may be agreed to, or written otherwise
            form = found.guessed | {k: v for k, v in form.items() if v} | {"sent": _text(body)}
        typed = Typed(form, problems)
        shown = rows(asked, visit.farm.texts, typed) if form else _as_kept(visit, asked)
        return visit.show(
            request,
            "first_station.html",
            422 if problems else 200,
            step=step,
            rows=shown[1:],
            sent=shown[0],
            wrong=of_mistakes(elsewhere(asked, problems)),
            refused=bool(problems),
            known=name in visit.farm.raw.get("sources", {}),
            heard=name in visit.heard,
            line=f"{_reached_at(visit, request)}/stations/{name}/readings",
            token=None if name in visit.told_tokens else visit.tokens.get(name),
            station=name,
            found=found,
            values=[(_words([one.quantity]), one) for one in found.values] if found else (),
            missing=_words(found.missing) if found else None,
            unread=", ".join(found.proposal.unread)[:300] if found else "",
            looked=_digest(body) if found and not problems else "",
            **steps.posts(step),
        )

    @routes.get("/first/station")
    def station(request: Request) -> Response:
        visit.owner(request)
        return show(request, {})

    @routes.post("/first/station")
    async def told(request: Request) -> Response:
        form = await visit.door.form(
            request, visit.owner(request), long=True, most_bytes=_MOST_BYTES
        )
        name, body = _name(visit), _body(visit, form)
        if form.get("later") or (not body and name in visit.farm.raw.get("sources", {})):
            return RedirectResponse(steps.after(visit.farm, step), 303)
        found: _Understood | None = None
        try:
            found = _understood(visit, body, form)
            if found.problems:
                return show(request, form, found, found.problems)
            if form.get("look") or form.get("looked") != _digest(body):
                return show(request, form, found)
            edits = _edits(visit, name, found, form)
            texts = steps.checked(visit.farm, "station", edits, _places(name, visit))
        except AtFaultError as error:
            return show(request, form, found, error.problems)
        visit.farm.keep(texts)
        return RedirectResponse(steps.after(visit.farm, step), 303)

    @routes.post("/stations/{name}/readings")
    async def hear(name: str, request: Request, authorization: str = Header("")) -> Response:
        if name != _name(visit) or not knows(visit.tokens.get(name), authorization):
            wrong = "no station has this token; send Authorization: Bearer TOKEN"
            return JSONResponse({"wrong": wrong}, 401)
        body = await bounded_body(request)
        if not body:
            return JSONResponse({"wrong": "nothing came, or too much at once"}, 422)
        visit.heard[name] = body.strip().replace(b"\r\n", b"\n")
        return JSONResponse({"taken": 0, "says": "it is shown on the first visit's page"}, 202)

    return routes


def _name(visit: FirstVisit) -> str:
    """What the station is called: as its token in the settings is, where there is one."""
    return next(iter(sorted(visit.told_tokens)), _YARD)


def _words(names: Sequence[str]) -> Message:
    return quantity_names([BY_NAME[name].column for name in names])


def _system(visit: FirstVisit) -> System:
    return "metric" if visit.farm.raw.get("farm", {}).get("units") == "metric" else "us"


def _reached_at(visit: FirstVisit, request: Request) -> str:
    if visit.address:
        return visit.address
    host, port = request.scope.get("server") or ("127.0.0.1", None)
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}" if port is None else f"http://{shown}:{port}"


def _body(visit: FirstVisit, form: Mapping[str, str]) -> bytes:
    """What was pasted, else what came last."""
    pasted = form.get("sent", "").strip().replace("\r\n", "\n").encode()
    return pasted or visit.heard.get(_name(visit), b"")


def _text(body: bytes) -> str:
    """What came as text, so that what was looked at is what is taken; nothing for a packed one."""
    try:
        return body.decode() if len(body) <= _MOST_SHOWN else ""
    except UnicodeDecodeError:
        return ""


def _digest(body: bytes) -> str:
    return sha256(body).hexdigest()[:16]


def _places(name: str, visit: FirstVisit) -> list[Field]:
    system = _system(visit)
    of = ("sources", name)
    unit = say("with its unit: {unit}", unit=Kind.LENGTH.shown[system])
    return [
        Field("height", (*of, "heights", "wind"), say("Height of its wind sensor"), hint=unit),
        Field(
            "stands",
            (*of, "place"),
            say("Where it stands, as latitude and longitude"),
            hint=say("nothing where it stands among the fields"),
        ),
    ]


def _as_kept(visit: FirstVisit, asked: Sequence[Field]) -> list[Row]:
    """The rows as the draft has them; a list of two numbers is a place."""
    found = rows(asked, visit.farm.texts)
    return [
        Row(row.field, row.was, row.value.strip("[]"), row.wrong)
        if row.field.name == "stands"
        else row
        for row in found
    ]


def _understood(visit: FirstVisit, body: bytes, form: Mapping[str, str]) -> _Understood:
    """Propose an entry for what came. Raises ``AtFaultError``."""
    if not body:
        mend = say("let it post to the address above, paste what it sends, or choose Later")
        raise AtFaultError([Problem(visit.farm.file, "sent", say("nothing came yet"), mend)])
    now, system = visit.door.clock.now(), _system(visit)
    zone = str(visit.farm.raw.get("farm", {}).get("time_zone", "UTC"))
    units = {q: form[f"unit:{q}"].strip() for q in BY_NAME if form.get(f"unit:{q}", "").strip()}
    told_zone = form.get("zone", "").strip() or None
    heard = Heard(body, now)
    try:
        proposal = propose(heard, now=now, farm_zone=zone, units=units, time_zone=told_zone)
    except NothingLearnedError as error:
        mend = say("paste one whole message as the station sends it")
        raise AtFaultError([Problem(visit.farm.file, "sent", error.text, mend)]) from error
    asks = _asks(proposal, units, told_zone)
    newest, problems = [], []
    try:
        newest = list(read_values(proposal, decoded(proposal, heard, now), system, most=1))
    except NothingLearnedError:
        pass  # no unit of it is known yet: that is asked for
    except (ValueError, SourceError) as error:
        bad = [q for q in units if str(units[q]) in str(error)]
        at = f"unit:{bad[0]}" if bad else "sent"
        wrong = say("cannot be used: {why}", why=str(error)[:300])
        mend = say("write it as the station's manual does, or look at what was pasted")
        problems = [Problem(visit.farm.file, dotted((at,)), wrong, mend)]
    moment, values = newest[-1] if newest else (None, ())
    return _Understood(proposal, moment, values, asks, problems)


def _asks(proposal: Proposal, units: Mapping[str, str], zone: str | None) -> list[Field]:
    """Ask what its numbers only suggest, and go on asking, so that it can be changed."""
    found = []
    for column, guess in proposal.units.items():
        if not guess.sure or guess.quantity in units:
            label = say(
                "Unit of {quantity} ({column})",
                quantity=_words([guess.quantity]),
                column=column,
            )
            hint: Param = say("such as {example}", example=BY_NAME[guess.quantity].kind.shown["us"])
            found.append(
                Field(f"unit:{guess.quantity}", (f"unit:{guess.quantity}",), label, hint=hint)
            )
    unsure = [guess for guess in proposal.units.values() if not guess.sure]
    if zone or len(proposal.doubts) > len(unsure):
        hint = say("such as {example}", example="America/Chicago")
        found.append(Field("zone", ("zone",), say("The time zone its clock is set to"), hint=hint))
    return found


def _edits(visit: FirstVisit, name: str, found: _Understood, form: Mapping[str, str]) -> list[Edit]:
    """Return the edits that make an entry of it. Raises ``AtFaultError`` for what nobody told."""
    file, proposal = visit.farm.file, found.proposal
    problems = [
        Problem(file, dotted(one.at), say("is only guessed"), say("write it: nothing tells it"))
        for one in found.asks
        if not form.get(one.name, "").strip()
    ]
    height, place = form.get("height", "").strip(), form.get("stands", "").strip()
    if not height and "wind" in proposal.entry["measures"]:
        key = f"sources.{name}.heights.wind"
        mend = say("measure it: the wind is brought to the boom from there")
        problems.append(Problem(file, key, say("is missing"), mend))
    stands = typed_place(place)
    if place and stands is None:
        mend = say("write latitude, longitude: 41.6278, -96.9588")
        problems.append(Problem(file, f"sources.{name}.place", say("is no place"), mend))
    if problems:
        raise AtFaultError(problems)
    entry: dict[str, Any] = dict(proposal.entry)
    if height:
        entry["heights"] = {"wind": height}
    if stands is not None:
        entry["place"] = list(stands)
    return [SetValue(("sources", name), entry)]
