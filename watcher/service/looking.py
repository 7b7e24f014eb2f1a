"""Looking at how the watch is: an answer within seconds, whatever the log does."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import TYPE_CHECKING

from watcher.service.health import LOG_UNUSABLE, NOT_JUDGED, Health
from watcher.store.errors import LogError

if TYPE_CHECKING:
    from watcher.service.watch import Watch

_WITHIN_S = 3.0
_AT_ONCE = 2


class Looking:
    """Looks at a watch; blocking, from any thread."""

    def __init__(self, watch: "Watch") -> None:
        self._watch = watch
        # Of their own each: those that hang with one log must not keep others from the other.
        self._threads = {
            transactions: ThreadPoolExecutor(_AT_ONCE, thread_name_prefix="health")
            for transactions in ("log", "standby")
        }

    def look(self) -> Health:
        """Return how the watch is: from its log, or else from what stands in for it."""
        watch = self._watch
        unusable = watch.outage is not None
        found = None
        books = {"log": watch.transactions, "standby": watch.standby.transactions}
        if unusable:
            del books["log"]
        for name, transactions in books.items():
            looking = self._threads[name].submit(transactions.health, watch.judged_at)
            try:
                found = looking.result(_WITHIN_S)
                break
            except (LogError, TimeoutError):
                unusable = True
                looking.cancel()
        if found is None:
            found = Health(watch.clock.now(), watch.judged_at, (), 0, None)
        wrong = [*found.wrong]
        if unusable:
            wrong.insert(0, LOG_UNUSABLE)
        if watch.fault is not None and NOT_JUDGED not in wrong:
            wrong.insert(0, NOT_JUDGED)
        return replace(found, wrong=tuple(wrong))

    def close(self) -> None:
        """Let the threads go; one that hangs is not waited for."""
        for threads in self._threads.values():
            threads.shutdown(wait=False, cancel_futures=True)
