"""Figures of the running watch, read when they are asked for: nothing is counted twice."""

from collections.abc import Iterator

from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    Metric,
    StateSetMetricFamily,
    SummaryMetricFamily,
)
from prometheus_client.registry import Collector

from watcher.delivery import receipts
from watcher.delivery.channel import Outcome
from watcher.delivery.worker import KINDS
from watcher.jobs import queries
from watcher.judge.job_action import Action
from watcher.service.health import Health
from watcher.weather.quantities import NAME_OF
from watcher.web.api import weather_figures
from watcher.web.context import AppContext
from watcher.web.open_jobs import open_jobs

MEDIA_TYPE = CONTENT_TYPE_LATEST


def in_text(context: AppContext) -> bytes:
    """Return all figures as they are now, in the Prometheus text format."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(_Watch(context))
    return generate_latest(registry)


class _Watch(Collector):
    """Collected by the library."""

    def __init__(self, context: AppContext) -> None:
        self.context = context

    def collect(self) -> Iterator[Metric]:
        watch = self.context.watch
        yield CounterMetricFamily("watcher_judgements", "Judgements made", value=watch.judged)
        health = watch.health_now()
        yield GaugeMetricFamily("watcher_well", "1 while all is well", value=float(health.well))
        works = "1 while the watch judges, writes and delivers"
        yield GaugeMetricFamily("watcher_works", works, value=float(health.works))
        if health.judged_at is not None:
            age = health.at - health.judged_at
            yield GaugeMetricFamily("watcher_judged_age_seconds", "Since the last one", value=age)
        waiting = health.waiting_messages
        yield GaugeMetricFamily("watcher_messages_waiting", "Messages to be sent", value=waiting)
        oldest, words = health.oldest_waiting_s or 0, "Since the oldest of them was due"
        yield GaugeMetricFamily("watcher_messages_oldest_seconds", words, value=oldest)
        words = "Of judgements: from the log read to messages written"
        times = watch.judging
        yield SummaryMetricFamily(
            "watcher_judging_seconds", words, count_value=times.count, sum_value=times.total_s
        )
        if times.count:
            words = "What the newest judgement took"
            yield GaugeMetricFamily("watcher_judging_last_seconds", words, value=times.last_s)
        yield from self._sources(health)
        yield from self._fields()
        yield from self._plan()
        yield from self._jobs()
        yield from self._messages()
        yield from self._attempts()
        if watch.snapshot is not None and not self.context.old:
            yield from weather_figures.of_stations(watch.snapshot)
            yield from weather_figures.of_fields(watch.snapshot)
            yield from weather_figures.margins(watch.snapshot)

    def _sources(self, health: Health) -> Iterator[Metric]:
        def of_sources(name: str, what: str) -> GaugeMetricFamily:
            return GaugeMetricFamily(f"watcher_source_{name}", what, labels=["source"])

        def of_quantities(name: str, what: str) -> GaugeMetricFamily:
            labels = ["source", "quantity"]
            return GaugeMetricFamily(f"watcher_source_{name}", what, labels=labels)

        ages = of_sources("age_seconds", "Age of its word")
        stale = of_sources("stale", "1 while stale")
        failing = of_sources("failures_in_a_row", "Times it failed since it last answered")
        every = of_sources("interval_seconds", "How often it reports")
        ahead = of_sources("clock_ahead_seconds", "How far its clock is wrong; 0 where it is not")
        doubted = of_quantities("doubted_ratio", "Share of the last day's values doubted")
        units = of_quantities("unit_suspected", "1 while its values look like another unit")
        distrusted = of_quantities("distrusted", "1 while it is not believed")
        refused = GaugeMetricFamily(
            "watcher_posts_refused", "In the last day", labels=["source", "reason"]
        )
        for source in health.sources:
            stale.add_metric([source.name], float(source.silent))
            failing.add_metric([source.name], source.failures_in_a_row)
            ahead.add_metric([source.name], float(source.clock_ahead_s or 0))
            if source.age_s is not None:
                ages.add_metric([source.name], source.age_s)
            if source.interval_s is not None:
                every.add_metric([source.name], source.interval_s)
            for found in source.doubted:
                doubted.add_metric([source.name, NAME_OF[found.quantity]], found.share)
            for quantity in source.units:
                units.add_metric([source.name, NAME_OF[quantity]], 1.0)
            for quantity in source.distrusted:
                distrusted.add_metric([source.name, NAME_OF[quantity]], 1.0)
            for reason, posts in source.refused.items():
                refused.add_metric([source.name, reason], posts.count)
        for reason, posts in health.strangers.items():
            refused.add_metric(["", reason], posts.count)
        yield from (ages, stale, failing, every, ahead, doubted, units, distrusted, refused)

    def _jobs(self) -> Iterator[Metric]:
        watch = self.context.watch
        doing = StateSetMetricFamily(
            "watcher_job_action", "What to do with the open job on a field", labels=["field"]
        )
        store = watch.standby.log if watch.outage is not None else watch.transactions.store
        with store.reading() as session:
            count = len(queries.opened(session, watch.clock.now()))
            for job in open_jobs(self.context, session) if watch.snapshot is not None else ():
                states = {action.value: action is job.action for action in Action}
                doing.add_metric([job.field], states)
        yield GaugeMetricFamily("watcher_jobs_open", "Spraying jobs under way", value=count)
        yield doing

    def _messages(self) -> Iterator[Metric]:
        watch = self.context.watch
        words = "Written in the last day, to recipients with a URL and to devices that take pushes"
        messages = GaugeMetricFamily("watcher_messages", words, labels=["channel", "state"])
        store = watch.standby.log if watch.outage is not None else watch.transactions.store
        with store.reading() as session:
            written = receipts.written_lately(session, watch.clock.now())
        for (channel, state), number in sorted(written.items()):
            messages.add_metric([channel, state], number)
        yield messages
        devices = len(self.context.auth.sessions.devices)
        yield GaugeMetricFamily("watcher_push_devices", "Devices pushed to", value=devices)

    def _attempts(self) -> Iterator[Metric]:
        words = "Attempts to deliver since the start, by what kind of recipient and what came of it"
        attempts = CounterMetricFamily("watcher_delivery_attempts", words, labels=["to", "outcome"])
        made = self.context.watch.delivery.attempts
        for kind in KINDS:
            for outcome in Outcome:
                attempts.add_metric([kind, outcome.value], made[kind, outcome])
        yield attempts

    def _plan(self) -> Iterator[Metric]:
        """Of the plan as it was judged by; absent where there is none."""
        snapshot = self.context.watch.snapshot
        plan = None if snapshot is None else snapshot.plan
        if plan is None:
            return
        age = self.context.watch.clock.now() - plan.kept.made_at
        yield GaugeMetricFamily("watcher_plan_age_seconds", "Since it was made", value=age)
        stands = float(plan.changed is None)
        yield GaugeMetricFamily("watcher_plan_stands", "0 while it is made anew", value=stands)
        steps = GaugeMetricFamily("watcher_plan_steps", "Jobs to be begun", labels=["sprayer"])
        for sprayer in self.context.farm.config.sprayers:
            count = sum(step.sprayer == sprayer for step in plan.steps)
            steps.add_metric([sprayer], count)
        yield steps

    def _fields(self) -> Iterator[Metric]:
        words = "0 unsuitable, 1 unknown, 2 marginal, 3 suitable"
        statuses = GaugeMetricFamily("watcher_field_status", words, labels=["field"])
        words = "Of a job begun now to hold to its end; absent where not known or not open"
        odds = GaugeMetricFamily("watcher_field_chance_ratio", words, labels=["field"])
        words = "0 broken, 1 unknown, 2 near, 3 holds"
        limits = GaugeMetricFamily("watcher_field_limit", words, labels=["field", "limit"])
        # What is too old to be relied on is not given as if it were so now.
        if self.context.watch.snapshot is not None and not self.context.old:
            for name, seen in self.context.snapshot.ranking.every.items():
                statuses.add_metric([name], float(seen.status))
                if seen.chance is not None and seen.chance.chance is not None:
                    odds.add_metric([name], seen.chance.chance)
                for reason in seen.reasons:
                    limits.add_metric([name, reason.limit.value], float(reason.stand))
        yield from (statuses, odds, limits)
