"""Figures of the running watch in the text format that monitoring systems collect."""

from collections.abc import Iterator

from fastapi import APIRouter, Depends, Response
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from watcher.service.health import Health
from watcher.store import jobs
from watcher.web import api_models as told
from watcher.web.access import User
from watcher.web.api import bearer
from watcher.web.house import House


class _Watch(Collector):
    """Reads the watch's figures when they are asked for: nothing is counted twice."""

    def __init__(self, house: House) -> None:
        self.house = house

    def collect(self) -> Iterator[Metric]:
        watch = self.house.watch
        yield CounterMetricFamily("watcher_judgements", "Judgements made", value=watch.judged)
        health = watch.book.health(watch.judged_at)
        yield GaugeMetricFamily("watcher_well", "1 while all is well", value=float(health.well))
        if health.judged_at is not None:
            age = health.at - health.judged_at
            yield GaugeMetricFamily("watcher_judged_age_seconds", "Since the last one", value=age)
        waiting = health.waiting_messages
        yield GaugeMetricFamily("watcher_messages_waiting", "Messages to be sent", value=waiting)
        yield from self._sources(health)
        yield from self._fields()
        with watch.book.store.reading() as session:
            count = len(jobs.open_jobs(session))
        yield GaugeMetricFamily("watcher_jobs_open", "Spraying jobs under way", value=count)

    def _sources(self, health: Health) -> Iterator[Metric]:
        ages = GaugeMetricFamily("watcher_source_age_seconds", "Age of its word", labels=["source"])
        stale = GaugeMetricFamily("watcher_source_stale", "1 while stale", labels=["source"])
        for source in health.sources:
            stale.add_metric([source.name], float(source.stale))
            if source.age_s is not None:
                ages.add_metric([source.name], source.age_s)
        yield from (ages, stale)

    def _fields(self) -> Iterator[Metric]:
        words = "0 unsuitable, 1 unknown, 2 marginal, 3 suitable"
        statuses = GaugeMetricFamily("watcher_field_status", words, labels=["field"])
        if self.house.watch.picture is not None:
            for name, seen in self.house.picture.ranking.every.items():
                statuses.add_metric([name], float(seen.status))
        yield statuses


def router(house: House) -> APIRouter:
    """Route of the figures."""
    routes = APIRouter(tags=["farm"], dependencies=[Depends(bearer)])
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Watch(house))

    @routes.get(
        "/metrics",
        response_class=Response,
        responses={
            200: {"content": {"text/plain": {"schema": {"type": "string"}}}},
            401: {"model": told.Wrong, "description": "No token, or none that is known"},
        },
    )
    def metrics(_user: User = Depends(house.door.api_looker)) -> Response:  # noqa: B008
        """Figures of the watch, in the Prometheus text format."""
        return Response(generate_latest(registry), media_type=CONTENT_TYPE_LATEST)

    return routes
