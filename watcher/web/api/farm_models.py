"""What the API says of the farm's files, and takes."""

from typing import Any, Literal

from pydantic import Field

from watcher.farm.editing.difference import FarmChange
from watcher.i18n.language import Language
from watcher.i18n.message import render
from watcher.service.farm_versions import FarmVersion
from watcher.web.api.models import ApiModel


class Mistake(ApiModel):
    """One thing that cannot be, and what to do about it."""

    key: str
    """The place as the farm file has it, with its value."""
    wrong: str
    mend: str


class FarmProblem(ApiModel):
    """Why the farm was not changed, as problem details (RFC 9457)."""

    type: str = "about:blank"
    title: str
    status: int
    detail: str
    wrong: str
    """The same as ``detail``, as every refusal of this API has it."""
    mistakes: list[Mistake] = Field(default_factory=list)
    loosens: list[str] = Field(default_factory=list)
    """Labels' and laws' words that would ask for less: ``label_changed`` says that they changed."""
    etag: str | None = None
    """How the farm is now, where somebody else has changed it."""


class FarmChangeSchema(ApiModel):
    """One place that changed."""

    key: str
    before: str | None
    after: str | None

    @classmethod
    def of(cls, change: FarmChange, language: Language) -> "FarmChangeSchema":
        before, after = (
            None if side is None else render(side, language)
            for side in (change.before, change.after)
        )
        return cls(key=render(change.key, language), before=before, after=after)


class VersionSchema(ApiModel):
    """A version of the farm's files."""

    number: int
    at: int
    """When it was written. [epoch s]"""
    season: str
    """The season that ended with it; empty for any other."""
    by: str
    """Who wrote it; empty for a hand with an editor."""
    etag: str
    loosened: list[str]
    """What a label or law asks less of since, as its owner said."""

    @classmethod
    def of(cls, version: FarmVersion) -> "VersionSchema":
        return cls(
            number=version.number,
            at=version.at,
            by=version.by,
            etag=version.texts.etag,
            loosened=list(version.loosened),
            season=version.season,
        )


class VersionWithChanges(VersionSchema):
    """A version and what it changed."""

    changes: list[FarmChangeSchema]


class FarmChanged(ApiModel):
    """A change of the farm, made or only looked at."""

    version: VersionSchema | None
    """Its version; null where nothing was changed."""
    changes: list[FarmChangeSchema]
    effect: list[str]
    """What it comes to now and in the next two days."""
    loosens: list[str]
    """Labels' and laws' words that ask for less by it."""
    waits: bool
    """Whether a part of it waits until a job under way ends."""


class BoundaryAsked(ApiModel):
    """A boundary to draw."""

    role: Literal["field", "neighbour"]
    geometry: dict[str, Any]
    """A Polygon or MultiPolygon in degrees, longitude first (RFC 7946)."""
