"""Files that are the same for everybody: style, script, icons, and what makes an app of a page."""

import json
from collections.abc import Callable
from html import escape
from typing import Annotated

from fastapi import APIRouter, Header, HTTPException, Response

from watcher.farm import Farm
from watcher.i18n.language import Language, accepted
from watcher.i18n.message import say
from watcher.web.renderer import STATIC, static_url

_TYPES = {
    "page.css": "text/css",
    "page.js": "text/javascript",
    "push.js": "text/javascript",
    "map.js": "text/javascript",
    "icon.svg": "image/svg+xml",
    "icon-192.png": "image/png",
    "icon-512.png": "image/png",
}
_NO_ANSWER = (
    say("No answer from the watch"),
    say(
        "This page was never opened on this device, so nothing of it is kept. What it would say "
        "is not known: take a reading at boom height."
    ),
    say("Try again"),
    say("Now"),
)
A_YEAR = {"Cache-Control": "public, max-age=31536000, immutable"}
"""Of what is named by its content."""
_ASKED_ANEW = {"Cache-Control": "no-cache"}


def router(farm: Callable[[], Farm]) -> APIRouter:
    """Routes of the static files; ``farm`` is the one in use."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/static/{file}")
    def static(file: str) -> Response:
        if file not in _TYPES:
            raise HTTPException(404, "there is no such file")
        return Response((STATIC / file).read_bytes(), media_type=_TYPES[file], headers=A_YEAR)

    @routes.get("/worker.js")
    def worker(accept_language: Annotated[str, Header()] = "") -> Response:
        return worker_script(accepted(accept_language) or farm().language)

    @routes.get("/app.webmanifest")
    def manifest() -> Response:
        return Response(
            _manifest(farm().config.farm.name),
            media_type="application/manifest+json",
            headers=_ASKED_ANEW,
        )

    @routes.get("/favicon.ico")
    def favicon() -> Response:
        return Response(status_code=204, headers=A_YEAR)

    return routes


def worker_script(language: Language) -> Response:
    """Answer with what keeps pages on a device and shows its pushes."""
    script = (STATIC / "worker.js").read_text(encoding="utf-8")
    kept = ", ".join(f'"{static_url(file)}"' for file in ("page.css", "page.js", "icon.svg"))
    filled = script.replace("/* kept files */", kept)
    filled = filled.replace('"/* nothing kept */"', json.dumps(_nothing_kept(language)))
    return Response(filled, media_type="text/javascript", headers=_ASKED_ANEW)


def _nothing_kept(language: Language) -> str:
    """The page that stands for one that was never opened on a device, where nothing answers."""
    words = [escape(text.render(language)) for text in _NO_ANSWER]
    return (
        f'<!doctype html><html lang="{language.code}" class="is-old"><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<title>? {words[0]}</title><link rel="stylesheet" href="{static_url("page.css")}">'
        f'<main id="main"><h1>? {words[0]}</h1><p class="none" role="alert">{words[1]}</p>'
        f'<p><a class="button" href="">{words[2]}</a> <a class="button" href="/">{words[3]}</a></p>'
        "</main></html>"
    )


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
