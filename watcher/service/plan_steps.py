"""What may be said of the plan of the day: wishes, and yes to it. Once, however often it comes."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any
from uuid import uuid4

from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.i18n.message import Message, Name, say
from watcher.planning.day_plan import Wish
from watcher.planning.kept_plan import KeptPlan
from watcher.service.day_plan import ACCEPTED, WISHES, day_ends, plan_now, wished
from watcher.store import plans
from watcher.store.database import Database

_OF_FIELDS = {Wish.FIRST: "first", Wish.NOT_TODAY: "not_today", Wish.ONLY_WITH: "only_with"}
_OF_EACH = {Wish.NOT_TODAY: ("field",), Wish.ONLY_WITH: ("field",), Wish.OUT: ("sprayer",)}
"""What there may be a wish of its own for."""
_KEEPS_ORDER = "keeps_order"


class BadWishError(ValueError):
    """What is asked of the plan means nothing as it was asked; says what would do."""

    def __init__(self, text: Message) -> None:
        self.text = text
        super().__init__(str(text))


class PlanMovedError(Exception):
    """The plan that was said yes to is no longer the one there is."""

    text = say("The plan has changed since you looked at it. Look again, then accept it.")

    def __init__(self) -> None:
        super().__init__(str(self.text))


@dataclass(frozen=True)
class WishAsked:
    """A wish as somebody asks for it, or takes it back."""

    wish: Wish
    field: str = ""
    sprayer: str = ""
    clock: str = ""
    """For "home by": an hour of today on the farm's clock, 17:00."""
    back: bool = False


@dataclass(frozen=True)
class Who:
    """Who says something, and under which key: the same key is the same thing said."""

    by: str
    now: int
    """When it came."""
    key: str | None = None
    tapped_at: int | None = None
    """When it was said, where it was kept on a device meanwhile."""

    @property
    def at(self) -> int:
        """When it was said."""
        return self.now if self.tapped_at is None else min(self.tapped_at, self.now)


def wish(store: Database, farm: Farm, asked: WishAsked, who: Who) -> None:
    """Keep a wish, or that one is taken back. Raises BadWishError, with nothing done."""
    with store.writing() as session:
        about = {"wish": asdict(asked)}
        if _said_before(session, who, about):
            return
        _check(farm, asked, who.at)
        if asked.wish is not Wish.ONLY_WITH:
            _of_today(farm, who)
        _, said, _ = wished(session, who.now)
        if not _overtaken(session, about, who):
            said = _with(said, farm, asked, who.at)
        _say(session, farm, said, who, asked=about)


def accept(store: Database, farm: Farm, number: int, who: Who) -> None:
    """Say yes to the plan that was shown under a number.

    The newest one is accepted, where it has the same order. Raises PlanMovedError.
    """
    with store.writing() as session:
        if _said_before(session, who, {"plan": number}):
            return
        newest = plan_now(session, farm, who.now)
        shown = plans.of_number(session, number)
        if newest is None or shown is None or newest.old:
            raise PlanMovedError
        order = KeptPlan.of_json(number, shown.content).plan.order
        if newest.kept.plan.order != order:
            raise PlanMovedError
        plans.say(
            session,
            ACCEPTED,
            by=who.by,
            key=who.key or uuid4().hex,
            at=who.at,
            content={"asked": {"plan": number}},
            plan=newest.kept.number,
        )
        about = {"keep order": False}
        _, said, _ = wished(session, who.now)
        if said.pop(_KEEPS_ORDER, False) and not _overtaken(session, about, who):
            again = replace(who, key=who.key and f"{who.key}/order")
            _say(session, farm, said, again, asked=about)


def keep_order(store: Database, farm: Farm, who: Who) -> None:
    """Ask that the accepted order stays for today as long as it can be done.

    Raises BadWishError, with nothing done.
    """
    with store.writing() as session:
        about = {"keep order": True}
        if _said_before(session, who, about):
            return
        _of_today(farm, who)
        _, said, _ = wished(session, who.now)
        if not _overtaken(session, about, who):
            said = {**said, _KEEPS_ORDER: True}
        _say(session, farm, said, who, asked=about)


def _of_today(farm: Farm, who: Who) -> None:
    if who.now >= day_ends(farm, who.at):
        raise BadWishError(say("That was asked for a day that is over: ask it for today again."))


def _overtaken(session: Session, asked: Mapping[str, Any], who: Who) -> bool:
    """Whether another thing was said of the same after this was, and came before it."""
    later = plans.said_after(session, WISHES, who.at)
    return any(_about(row.content["asked"]) == _about(asked) for row in later)


def _about(asked: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what something that is asked is about: the later of two about the same counts."""
    if "wish" not in asked:
        return (_KEEPS_ORDER,)
    of = asked["wish"]
    return of["wish"], *(of[key] for key in _OF_EACH.get(of["wish"], ()))


def _check(farm: Farm, asked: WishAsked, now: int) -> None:
    config = farm.config
    if asked.wish in _OF_FIELDS and asked.field not in config.fields:
        raise BadWishError(say("Choose one of the fields of the farm."))
    needs_sprayer = asked.wish in {Wish.ONLY_WITH, Wish.OUT} and not (
        asked.back and asked.wish is Wish.ONLY_WITH
    )
    if needs_sprayer and asked.sprayer not in config.sprayers:
        raise BadWishError(say("Choose one of the sprayers of the farm."))
    if asked.wish is Wish.ONLY_WITH and not asked.back:
        plan = config.fields[asked.field]
        setups = plan.setups or tuple(config.setups)
        if all(config.setups[name].sprayer != asked.sprayer for name in setups):
            raise BadWishError(
                say(
                    "{sprayer} has no setup for {field}: name one in the farm file, or choose "
                    "another sprayer.",
                    sprayer=Name(asked.sprayer),
                    field=Name(asked.field),
                )
            )
    if asked.wish is Wish.HOME_BY and not asked.back:
        _home_by(farm, asked.clock, now)


def _home_by(farm: Farm, clock: str, now: int) -> int:
    try:
        wanted = datetime.strptime(clock, "%H:%M").time()  # noqa: DTZ007 -- a clock of the farm
    except ValueError:
        raise BadWishError(say("Write a time of the day as 17:00.")) from None
    today = datetime.fromtimestamp(now, farm.zone).date()
    at = int(datetime.combine(today, wanted, farm.zone).timestamp())
    if at <= now:
        raise BadWishError(say("{clock} is past: write a later time of today.", clock=clock))
    return at


def _with(said: Mapping[str, Any], farm: Farm, asked: WishAsked, now: int) -> dict[str, Any]:
    """Return what is wished with one wish more, or one less."""
    found = dict(said)
    not_today, out = set(said.get("not_today", ())), set(said.get("out", ()))
    only = dict(said.get("only_with", {}))
    match asked.wish:
        case Wish.FIRST:
            found["first"] = None if asked.back else asked.field
        case Wish.NOT_TODAY:
            not_today = not_today - {asked.field} if asked.back else not_today | {asked.field}
        case Wish.ONLY_WITH:
            only.pop(asked.field, None)
            only |= {} if asked.back else {asked.field: asked.sprayer}
        case Wish.HOME_BY:
            found["home_by"] = None if asked.back else _home_by(farm, asked.clock, now)
        case Wish.OUT:
            out = out - {asked.sprayer} if asked.back else out | {asked.sprayer}
    return found | {"not_today": sorted(not_today), "out": sorted(out), "only_with": only}


def _said_before(session: Session, who: Who, asked: Mapping[str, Any]) -> bool:
    """Whether this was said already under its key. Raises BadWishError for another thing."""
    before = None if who.key is None else plans.of_key(session, who.by, who.key)
    if before is None:
        return False
    if before.content.get("asked") != asked:
        raise BadWishError(
            say("This key was used for something else. Send each thing under a key of its own.")
        )
    return True


def _say(
    session: Session, farm: Farm, said: Mapping[str, Any], who: Who, *, asked: dict[str, Any]
) -> None:
    content = {**said, "until": day_ends(farm, who.now), "asked": asked}
    key = who.key or uuid4().hex
    plans.say(session, WISHES, by=who.by, key=key, at=who.at, content=content)
