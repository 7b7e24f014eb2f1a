"""Long lists in parts: ``limit`` of them after an opaque ``after``, and a link to the next part.

The link is in the header (RFC 8288); a list without one is at its end.
"""

import base64
import binascii
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from fastapi import Depends, HTTPException, Query, Request, Response

T = TypeVar("T")
MOST = 200
_USUAL, _MOST_KEY = 50, 2**40
LINKED: dict[int | str, dict[str, Any]] = {
    200: {
        "headers": {
            "Link": {
                "description": 'The next part, rel="next" (RFC 8288); none at the end',
                "schema": {"type": "string"},
            }
        }
    }
}
"""What the description of a list says of its answer."""


@dataclass(frozen=True)
class Page:
    """The part of a list that is asked for."""

    limit: int
    after: int | None
    """The key of the last one that was given; None for the first part."""
    request: Request
    response: Response

    def of(self, found: Sequence[T], keys: Sequence[int]) -> Sequence[T]:
        """Return as much as was asked for of what comes after, and link to the rest.

        ``found`` has one more than ``limit`` where there is a rest; ``keys`` are theirs.
        """
        if len(found) <= self.limit:
            return found
        after = base64.urlsafe_b64encode(str(keys[self.limit - 1]).encode()).decode().rstrip("=")
        url = self.request.url.include_query_params(limit=self.limit, after=after)
        self.response.headers["Link"] = f'<{url.path}?{url.query}>; rel="next"'
        return found[: self.limit]


def _page(
    request: Request,
    response: Response,
    limit: Annotated[int, Query(ge=1, le=MOST, description="How many at once")] = _USUAL,
    after: Annotated[
        str | None,
        Query(max_length=40, description="Where the part before ended, as its Link said"),
    ] = None,
) -> Page:
    if after is None:
        return Page(limit, None, request, response)
    try:
        padded = after + "=" * (-len(after) % 4)
        key = int(base64.b64decode(padded, b"-_", validate=True).decode())
    except (binascii.Error, ValueError):
        key = -1
    if not 0 <= key < _MOST_KEY:
        raise HTTPException(422, "after is not from a Link of this list")
    return Page(limit, key, request, response)


Paged = Annotated[Page, Depends(_page)]
