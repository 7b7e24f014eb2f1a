"""What went wrong, for programs in one form: problem details (RFC 9457)."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from starlette.responses import JSONResponse

PROBLEM = "application/problem+json"


def problem(
    status: int, wrong: str, *, headers: Mapping[str, str] | None = None, **more: Any
) -> JSONResponse:
    """Return the answer that says what is wrong; ``more`` stands beside it, or in its place."""
    usual = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": wrong,
        "wrong": wrong,
    }
    return JSONResponse(usual | more, status, headers, media_type=PROBLEM)
