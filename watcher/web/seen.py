"""The signed link of an alert: whoever was asked says that they have seen it, once."""

from fastapi import APIRouter, Request, Response

from watcher.alerts.acknowledgement import BadLinkError, Links, Seen, acknowledge
from watcher.web.house import House


def router(house: House, links: Links) -> APIRouter:
    """Routes of the links. Nobody needs to be logged in: the link itself is the permission."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/seen/{token}")
    def ask(request: Request, token: str) -> Response:
        # Mail scanners and previews open links: a second touch acknowledges, not this.
        try:
            links.read(token)
        except BadLinkError:
            return _page(house, request, token, "bad", 404)
        return _page(house, request, token, "ask", 200)

    @routes.post("/seen/{token}")
    async def say(request: Request, token: str) -> Response:
        await house.door.form(request, house.door.visitor(request))
        try:
            seen = links.read(token)
        except BadLinkError:
            return _page(house, request, token, "bad", 404)
        new = await house.watch.in_log(lambda: _acknowledge(house, seen))
        return _page(house, request, token, "done" if new else "before", 200 if new else 409)

    return routes


def _acknowledge(house: House, seen: Seen) -> int:
    with house.watch.book.store.writing() as session:
        return acknowledge(session, seen.ref, seen.recipient, house.watch.clock.now())


def _page(house: House, request: Request, token: str, state: str, status: int) -> Response:
    visitor = house.door.visitor(request)
    answer = house.show(request, visitor, "seen.html", status=status, token=token, state=state)
    if visitor.user is None:
        house.door.enter(request, answer, visitor.token)
    return answer
