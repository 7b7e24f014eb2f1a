"""Files that are the same for everybody: style, script, icons, and what makes an app of a page."""

import json

from fastapi import APIRouter, HTTPException, Response

from watcher.web.templating import STATIC, static_url

_TYPES = {
    "page.css": "text/css",
    "page.js": "text/javascript",
    "icon.svg": "image/svg+xml",
    "icon-192.png": "image/png",
    "icon-512.png": "image/png",
}
_A_YEAR = {"Cache-Control": "public, max-age=31536000, immutable"}
_ASKED_ANEW = {"Cache-Control": "no-cache"}


def router(farm_name: str) -> APIRouter:
    """Routes of the static files."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/static/{file}")
    def static(file: str) -> Response:
        if file not in _TYPES:
            raise HTTPException(404, "there is no such file")
        return Response((STATIC / file).read_bytes(), media_type=_TYPES[file], headers=_A_YEAR)

    @routes.get("/worker.js")
    def worker() -> Response:
        script = (STATIC / "worker.js").read_text(encoding="utf-8")
        kept = ", ".join(f'"{static_url(file)}"' for file in ("page.css", "page.js", "icon.svg"))
        told = script.replace("/* kept files */", kept)
        return Response(told, media_type="text/javascript", headers=_ASKED_ANEW)

    @routes.get("/app.webmanifest")
    def manifest() -> Response:
        return Response(
            _manifest(farm_name), media_type="application/manifest+json", headers=_ASKED_ANEW
        )

    @routes.get("/favicon.ico")
    def favicon() -> Response:
        return Response(status_code=204, headers=_A_YEAR)

    return routes


def _manifest(farm_name: str) -> str:
    return json.dumps(
        {
            "name": f"Weather watch, {farm_name}",
            "short_name": "Weather watch",
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": "#fdfcf7",
            "theme_color": "#14263d",
            "icons": [
                {
                    "src": static_url("icon.svg"),
                    "sizes": "any",
                    "type": "image/svg+xml",
                    "purpose": "any",
                },
                *(
                    {
                        "src": static_url(f"icon-{size}.png"),
                        "sizes": f"{size}x{size}",
                        "type": "image/png",
                        "purpose": "any maskable",
                    }
                    for size in (192, 512)
                ),
            ],
        }
    )
