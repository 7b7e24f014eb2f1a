"""How a reading of a second the log knows already is put together with what it knows of it.

By quantity: a value takes the place of the former one of its quantity, with what was found out
about it, and leaves the others as they are. A missing value takes no other's place: a station that
sends its wind and its temperature apart says nothing of the one when it tells the other. The last
value said of a quantity stands, whatever came between.
"""

from typing import Any

from sqlalchemy import ColumnElement, and_, case, func, or_
from sqlalchemy.ext.compiler import compiles

from watcher.store.tables import Observation
from watcher.store.upsert import Insert
from watcher.weather.series import QUANTITIES


def by_quantity(insert: Insert) -> Insert:
    """Let an INSERT of readings put them together with those there are; touches no row in vain."""
    new, flags = insert.excluded, _Findings()
    differs = [
        and_(new[name].is_not(None), getattr(Observation, name).is_distinct_from(new[name]))
        for name in QUANTITIES
    ]
    return insert.on_conflict_do_update(
        index_elements=["farm", "source", "time"],
        set_={
            **{name: func.coalesce(new[name], getattr(Observation, name)) for name in QUANTITIES},
            "flags": flags,
            # Bounds are of a wind report: with a new one its own count, or none.
            "bounds": case(
                (or_(new.wind_m_s.is_not(None), new.gust_m_s.is_not(None)), new.bounds),
                else_=func.coalesce(new.bounds, Observation.bounds),
            ),
            "received_at": new.received_at,
        },
        where=or_(
            *differs,
            _Findings(former=True).is_distinct_from(flags),
            and_(new.bounds.is_not(None), Observation.bounds.is_distinct_from(new.bounds)),
        ),
    )


class _Findings(ColumnElement[Any]):
    """The findings of a row put together, or its ``former`` ones in the same form."""

    inherit_cache = True
    type = Observation.flags.type

    def __init__(self, *, former: bool = False) -> None:
        self.former = former


@compiles(_Findings, "sqlite")
def _in_file(element: _Findings, _compiler: object, **_: object) -> str:
    if element.former:
        return "json(observation.flags)"  # the same text for the same findings
    pairs = _pairs("json_extract({row}.flags, '$.{name}')")
    return _unless_none(f"NULLIF(json_patch('{{}}', json_object({pairs})), '{{}}')")


@compiles(_Findings, "postgresql")
def _on_server(element: _Findings, _compiler: object, **_: object) -> str:
    if element.former:
        return "observation.flags"
    pairs = _pairs("{row}.flags -> '{name}'")
    return _unless_none(f"NULLIF(jsonb_strip_nulls(jsonb_build_object({pairs})), '{{}}'::jsonb)")


def _pairs(found: str) -> str:
    """Every quantity and its finding: the new one; without a new value the former one."""
    return ", ".join(
        f"'{name}', COALESCE({found.format(row='excluded', name=name)}, "
        f"CASE WHEN excluded.{name} IS NULL "
        f"THEN {found.format(row='observation', name=name)} END)"
        for name in QUANTITIES
    )


def _unless_none(merged: str) -> str:
    """Most readings have no finding, and need no JSON looked into."""
    return f"CASE WHEN COALESCE(observation.flags, excluded.flags) IS NOT NULL THEN {merged} END"
