"""The application behind the HTTP port."""

from collections.abc import Mapping

from fastapi import FastAPI
from fastapi.responses import JSONResponse
from pydantic import SecretStr

from watcher.service.watch import Watch
from watcher.service.wiring import station_sites
from watcher.web import readings


def create_app(watch: Watch, tokens: Mapping[str, SecretStr]) -> FastAPI:
    """Build the application around a running watch; ``tokens`` are the stations' by name."""
    app = FastAPI(title="Field weather watch", docs_url=None, redoc_url=None, openapi_url=None)
    app.include_router(readings.router(watch, station_sites(watch.book.plan.farm), tokens))

    @app.get("/health")
    async def health() -> JSONResponse:
        """Say how the watch is and what is stale; 503 as soon as something is not well."""
        found = await watch.health()
        return JSONResponse(found.as_json(), status_code=200 if found.well else 503)

    return app
