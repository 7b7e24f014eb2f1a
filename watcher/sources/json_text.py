"""JSON read strictly: no NaN, no infinities, no key given twice."""

import json
import math
from collections.abc import Mapping, Sequence
from typing import NoReturn, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError


class Body(BaseModel):
    """Part of a JSON body: types are not bent to fit, further keys are of no interest."""

    model_config = ConfigDict(strict=True, frozen=True, allow_inf_nan=False, extra="ignore")


B = TypeVar("B", bound=Body)


def loads(body: bytes) -> object:
    """Return the JSON value that ``body`` (UTF-8) holds; ``ValueError`` says what is wrong.

    Python's own reader takes NaN, Infinity, 1e999 and repeated keys; none of them may become a
    reading.
    """
    try:
        value: object = json.loads(
            body.decode("utf-8-sig"),
            parse_constant=_refuse,
            parse_float=_finite,
            object_pairs_hook=_once_each,
        )
    except RecursionError as error:
        raise ValueError("is nested too deeply") from error
    return value


def _refuse(word: str) -> NoReturn:
    raise ValueError(f"{word} is not a number")


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"{text:.40} is too large for a number")
    return number


def _once_each(pairs: Sequence[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                raise ValueError(f"key {key[:60]!r} is given twice")
            seen.add(key)
    return found


def fit(model: type[B], value: object) -> B:
    """Return ``value`` read as ``model``; ``ValueError`` names the first key that does not fit."""
    try:
        return model.model_validate(value)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(step) for step in first["loc"]) or "the body"
        raise ValueError(f"{where}: {first['msg']}") from error


def finite(value: object) -> float | None:
    """Return a JSON number as a float; None for anything else (null, text, true, 10**400)."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def first_text(value: object, keys: Sequence[str]) -> str:
    """Return the first non-empty text that an object holds under one of ``keys``, else ""."""
    if not isinstance(value, Mapping):
        return ""
    texts = (value.get(key) for key in keys)
    return next((text for text in texts if isinstance(text, str) and text), "")
