"""Figures of the running watch in the text format that monitoring systems collect."""

from fastapi import APIRouter, Depends, Response

from watcher.web.api import models
from watcher.web.api.endpoints import bearer
from watcher.web.auth.users import User
from watcher.web.context import AppContext


def router(context: AppContext) -> APIRouter:
    """Route of the figures."""
    routes = APIRouter(tags=["farm"], dependencies=[Depends(bearer)])

    @routes.get(
        "/metrics",
        response_class=Response,
        responses={
            200: {"content": {"text/plain": {"schema": {"type": "string"}}}},
            401: {"model": models.Wrong, "description": "No token, or none that is known"},
        },
    )
    def metrics(_user: User = Depends(context.auth.api_looker)) -> Response:  # noqa: B008
        """Figures of the watch, in the Prometheus text format."""
        # Where nobody collects them the library is not imported.
        from watcher.web.api import watch_figures  # noqa: PLC0415

        return Response(watch_figures.in_text(context), media_type=watch_figures.MEDIA_TYPE)

    return routes
