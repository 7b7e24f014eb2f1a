"""A form that holds a file, as browsers send it without a script (RFC 7578)."""

import re
from collections.abc import Mapping

_BOUNDARY = re.compile(r'multipart/form-data\s*;.*?boundary="?([^";]{1,70})"?', re.IGNORECASE)
_NAME = re.compile(r'\bname="([^"]{0,60})"')
_MOST_PARTS = 20


def parts_of(body: bytes, content_type: str) -> Mapping[str, bytes]:
    """Return the parts of a body by name; nothing of one that is not such a form."""
    declared = _BOUNDARY.match(content_type)
    if declared is None:
        return {}
    found = {}
    pieces = (b"\r\n" + body).split(b"\r\n--" + declared[1].encode("latin-1"), _MOST_PARTS)
    for piece in pieces[1:]:
        head, whole, data = piece.partition(b"\r\n\r\n")
        name = _NAME.search(head.decode("utf-8", "replace"))
        if whole and name is not None:
            found[name[1]] = data
    return found
