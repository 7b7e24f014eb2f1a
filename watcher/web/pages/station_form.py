"""A form for a station: what it sends is shown as it is understood, then made an entry.

What is proposed is what ``watcher learn`` proposes, and nothing that is only guessed is kept
before the owner has said that it is so.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from watcher.farm.editing.edits import Edit, SetValue
from watcher.farm.editing.texts import FarmTexts
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
from watcher.web.pages.farm_form import (
    AtFaultError,
    Field,
    Row,
    Typed,
    elsewhere,
    of_mistakes,
    rows,
)

MOST_BYTES = 280_000
"""A day of minutes, as a form packs it."""
_MOST_SHOWN = 8_000
_WANTED = ("wind", "gust", "wind_from", "temperature", "humidity")
"""What the judgement asks of the air of now; what is missing leaves limits unknown."""
_SENT = Field("sent", ("sent",), say("Or paste here what it sends"), "long")


@dataclass(frozen=True)
class Understood:
    """What was made of what a station sends."""

    proposal: Proposal
    values: Sequence[ReadValue]
    """Of the newest reading; nothing where none can be read yet."""
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


@dataclass(frozen=True)
class StationForm:
    """The form of one station, over a farm file as it is."""

    name: str
    texts: FarmTexts
    now: int

    @property
    def file(self) -> Path:
        """The farm file."""
        return self.texts.file

    @property
    def farm(self) -> Mapping[str, Any]:
        """What the farm file says of the farm as a whole."""
        found: Mapping[str, Any] = self.texts.raw.get("farm", {})
        return found

    @property
    def system(self) -> System:
        """The units of the farm."""
        return "metric" if self.farm.get("units") == "metric" else "us"

    @property
    def places(self) -> list[Field]:
        """What is asked of it that no message tells."""
        of = ("sources", self.name)
        unit = say("with its unit: {unit}", unit=Kind.LENGTH.shown[self.system])
        return [
            Field("height", (*of, "heights", "wind"), say("Height of its wind sensor"), hint=unit),
            Field(
                "stands",
                (*of, "place"),
                say("Where it stands, as latitude and longitude"),
                hint=say("nothing where it stands among the fields"),
            ),
        ]

    def understood(self, body: bytes, form: Mapping[str, str]) -> Understood:
        """Propose an entry for what came. Raises ``AtFaultError``."""
        if not body:
            mend = say("let it post to the address above, or paste what it sends")
            raise AtFaultError([Problem(self.file, "sent", say("nothing came yet"), mend)])
        zone = str(self.farm.get("time_zone", "UTC"))
        units = {q: form[f"unit:{q}"].strip() for q in BY_NAME if form.get(f"unit:{q}", "").strip()}
        typed_zone = form.get("zone", "").strip() or None
        heard = Heard(body, self.now)
        try:
            proposal = propose(
                heard, now=self.now, farm_zone=zone, units=units, time_zone=typed_zone
            )
        except NothingLearnedError as error:
            mend = say("paste one whole message as the station sends it")
            raise AtFaultError([Problem(self.file, "sent", error.text, mend)]) from error
        newest, problems = [], []
        try:
            found = decoded(proposal, heard, self.now)
            newest = list(read_values(proposal, found, self.system, most=1))
        except NothingLearnedError:
            pass  # no unit of it is known yet: that is asked for
        except (ValueError, SourceError) as error:
            bad = [q for q in units if str(units[q]) in str(error)]
            at = f"unit:{bad[0]}" if bad else "sent"
            wrong = say("cannot be used: {why}", why=str(error)[:300])
            mend = say("write it as the station's manual does, or look at what was pasted")
            problems = [Problem(self.file, dotted((at,)), wrong, mend)]
        values = newest[-1][1] if newest else ()
        return Understood(proposal, values, _asks(proposal, units, typed_zone), problems)

    def edits(self, found: Understood, form: Mapping[str, str]) -> list[Edit]:
        """Return the edits that make an entry of it. Raises ``AtFaultError`` for what is unsaid."""
        problems = [
            Problem(self.file, dotted(one.at), say("is only guessed"), _WRITE_IT)
            for one in found.asks
            if not form.get(one.name, "").strip()
        ]
        height, place = form.get("height", "").strip(), form.get("stands", "").strip()
        if not height and "wind" in found.proposal.entry["measures"]:
            mend = say("measure it: the wind is brought to the boom from there")
            key = dotted(("sources", self.name, "heights", "wind"))
            problems.append(Problem(self.file, key, say("is missing"), mend))
        stands = typed_place(place)
        if place and stands is None:
            mend = say("write latitude, longitude: 41.6278, -96.9588")
            key = dotted(("sources", self.name, "place"))
            problems.append(Problem(self.file, key, say("is no place"), mend))
        if problems:
            raise AtFaultError(problems)
        entry: dict[str, Any] = dict(found.proposal.entry)
        if height:
            entry["heights"] = {"wind": height}
        if stands is not None:
            entry["place"] = list(stands)
        return [SetValue(("sources", self.name), entry)]

    def shown(
        self,
        body: bytes,
        form: Mapping[str, str],
        found: Understood | None,
        problems: Sequence[Problem],
    ) -> dict[str, Any]:
        """Return what the templates show of it."""
        asked = [_SENT, *self.places, *(found.asks if found else ())]
        if found is not None:  # what it looks like may be agreed to, or written otherwise
            form = found.guessed | {k: v for k, v in form.items() if v} | {"sent": _text(body)}
        every = rows(asked, self.texts, Typed(form, problems)) if form else self._as_kept(asked)
        return {
            "rows": every[1:],
            "sent": every[0],
            "wrong": of_mistakes(elsewhere(asked, problems)),
            "refused": bool(problems),
            "station": self.name,
            "found": found,
            "values": [(_words([one.quantity]), one) for one in found.values] if found else (),
            "missing": _words(found.missing) if found else None,
            "unread": ", ".join(found.proposal.unread)[:300] if found else "",
            "looked": digest(body) if found and not problems else "",
        }

    def _as_kept(self, asked: Sequence[Field]) -> list[Row]:
        """The rows as the farm file has them; a list of two numbers is a place."""
        return [
            Row(row.field, row.was, row.value.strip("[]"), row.wrong)
            if row.field.name == "stands"
            else row
            for row in rows(asked, self.texts)
        ]


_WRITE_IT = say("write it: nothing tells it")


def pasted(form: Mapping[str, str]) -> bytes:
    """Return what was pasted into the form."""
    return form.get("sent", "").strip().replace("\r\n", "\n").encode()


def digest(body: bytes) -> str:
    """Return what a body is known by, so that what was looked at is what is taken."""
    return sha256(body).hexdigest()[:16]


def _text(body: bytes) -> str:
    """What came as text; nothing for a packed one."""
    try:
        return body.decode() if len(body) <= _MOST_SHOWN else ""
    except UnicodeDecodeError:
        return ""


def _words(names: Sequence[str]) -> Message:
    return quantity_names([BY_NAME[name].column for name in names])


def _asks(proposal: Proposal, units: Mapping[str, str], zone: str | None) -> list[Field]:
    """Ask what its numbers only suggest, and go on asking, so that it can be changed."""
    found = []
    for column, guess in proposal.units.items():
        if not guess.sure or guess.quantity in units:
            label = say(
                "Unit of {quantity} ({column})", quantity=_words([guess.quantity]), column=column
            )
            kind = BY_NAME[guess.quantity].kind
            hint: Param = say("such as {example}", example=kind.shown["us"])
            key = f"unit:{guess.quantity}"
            found.append(Field(key, (key,), label, hint=hint))
    unsure = [guess for guess in proposal.units.values() if not guess.sure]
    if zone or len(proposal.doubts) > len(unsure):
        hint = say("such as {example}", example="America/Chicago")
        found.append(Field("zone", ("zone",), say("The time zone its clock is set to"), hint=hint))
    return found
