"""The forms a SenML pack comes in: JSON and CBOR (RFC 8428, sections 5 and 6), whole packs and
streams (SenSML, section 4.8), of which a post carries a part.
"""

import io
from collections.abc import Callable, Mapping
from decimal import Decimal

from watcher.sources import json_text
from watcher.sources.stations.bad_reading import BadReadingError

_LABELS = {
    -6: "bs",
    -5: "bv",
    -4: "bu",
    -3: "bt",
    -2: "bn",
    -1: "bver",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}
"""Labels of fields in CBOR (RFC 8428, table 4)."""
_BREAK = b"\xff"


def _whole_json(body: bytes) -> object:
    try:
        return json_text.loads(body)
    except ValueError as error:
        raise BadReadingError("the body", f"is not JSON: {error}", "post UTF-8 JSON") from error


def _streamed_json(body: bytes) -> object:
    """Return the records of a part of a stream: the array may lack its beginning or its end."""
    text = body.decode("utf-8-sig", errors="replace").strip().strip(",").strip()
    text = text.removeprefix("[").removesuffix("]").strip().strip(",")
    lines = [line.strip().strip(",") for line in text.splitlines() if line.strip().strip(",")]
    if len(lines) > 1 and all(line.startswith("{") and line.endswith("}") for line in lines):
        text = ",".join(lines)
    return _whole_json(f"[{text}]".encode())


def _cbor(body: bytes, *, streamed: bool) -> object:
    import cbor2  # noqa: PLC0415 - for stations that post CBOR only

    try:
        found = _decoded(body + _BREAK if streamed and body[:1] == b"\x9f" else body)
        return _named(found)
    except (cbor2.CBORDecodeError, ValueError, OverflowError, RecursionError) as error:
        why = f"is not SenML in CBOR: {str(error) or type(error).__name__:.100}"
        raise BadReadingError("the body", why, "post one CBOR array of maps") from error


def _decoded(body: bytes) -> object:
    import cbor2  # noqa: PLC0415 - see above

    source = io.BytesIO(body)
    found: object = cbor2.CBORDecoder(source).decode()
    rest = source.read(2)
    if rest and rest != _BREAK:  # a stream that was ended, to which another end was added
        raise ValueError("something stands after its end")
    return found


def _named(found: object) -> object:
    """Return a pack with its fields named as in JSON, numbers as floats."""
    if not isinstance(found, list):
        return found
    return [_record(each) if isinstance(each, Mapping) else each for each in found]


def _record(fields: Mapping[object, object]) -> dict[str, object]:
    record = {}
    for label, value in fields.items():
        name = _LABELS.get(label, f"{label}") if isinstance(label, int) else str(label)
        if isinstance(value, Decimal):
            value = float(value)  # noqa: PLW2901
        record[name] = "" if isinstance(value, bytes) else value
    return record


def _whole_cbor(body: bytes) -> object:
    return _cbor(body, streamed=False)


def _streamed_cbor(body: bytes) -> object:
    return _cbor(body, streamed=True)


READERS: Mapping[str, Callable[[bytes], object]] = {
    "application/senml+json": _whole_json,
    "application/sensml+json": _streamed_json,
    "application/senml+cbor": _whole_cbor,
    "application/sensml+cbor": _streamed_cbor,
}
"""By content type, what makes a body a list of records as in JSON; ``BadReadingError``."""
