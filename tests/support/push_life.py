"""A process that delivers an outbox to one device until it is killed."""

import asyncio
import os
import sys
import time
from pathlib import Path

from tests.support import beside_another_farm
from tests.support.farms import build, tables
from tests.support.push_roll import Roll, pushes_to
from watcher.delivery.addressees import Subscription
from watcher.delivery.worker import DeliveryWorker
from watcher.store.database import Database


def _now() -> int:
    return int(time.time())


def main(log: Path, endpoint: str, keys: str) -> None:
    """Deliver what waits in a log."""
    pushes = pushes_to(Roll(Subscription(endpoint, keys)))
    farm = int(os.environ.get(beside_another_farm.VARIABLE, "1"))
    store = Database(f"sqlite:///{log}", farm=farm)
    asyncio.run(DeliveryWorker(store, build(tables()), {}, now=_now, pushes=pushes).run())


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], sys.argv[3])
