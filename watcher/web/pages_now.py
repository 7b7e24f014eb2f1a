"""The first page: what to spray now and in which order, and when the rest opens."""

from fastapi import APIRouter, Depends, Request, Response

from watcher.alerts.wording.weather import source_lines
from watcher.alerts.wording.words import name, span
from watcher.jobs.watch import sprayed_s
from watcher.store import jobs
from watcher.web.door import Visitor
from watcher.web.house import House
from watcher.web.sight import field_sight


def router(house: House) -> APIRouter:
    """Routes of the first page, of the sources, and of what else there is."""
    routes = APIRouter(include_in_schema=False)
    looker = Depends(house.door.looker)

    @routes.get("/")
    def now(request: Request, visitor: Visitor = looker) -> Response:
        picture = house.picture
        with house.watch.book.store.reading() as session:
            running = jobs.open_jobs(session)
        at = house.watch.clock.now()
        return house.show(
            request,
            visitor,
            "now.html",
            spray=[field_sight(house, seen) for seen in picture.ranking.spray],
            rest=[field_sight(house, seen) for seen in picture.ranking.rest],
            jobs=[(job, name(job.field), span(sprayed_s(job, at))) for job in running],
            weather=source_lines(picture.outlook),
            horizon=span(house.farm.told.judging.horizon),
        )

    @routes.get("/more")
    def more(request: Request, visitor: Visitor = looker) -> Response:
        return house.show(request, visitor, "more.html")

    @routes.get("/sources")
    def sources(request: Request, visitor: Visitor = looker) -> Response:
        health = house.watch.book.health(house.watch.judged_at)
        return house.show(request, visitor, "sources.html", health=health)

    return routes
