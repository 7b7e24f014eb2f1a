"""Secrets that are set while the watch runs: kept, and used from then on without a restart."""

import asyncio
from collections.abc import Mapping
from typing import TYPE_CHECKING

import structlog

from watcher.farm import Farm
from watcher.farm.feeds import OpenMeteo, is_filled_in
from watcher.farm.stations import MqttStation, PushStation
from watcher.service.kept_secrets import SecretKind, Secrets

if TYPE_CHECKING:
    from watcher.service.watch import Watch

log = structlog.get_logger("watcher.service")


def wanted(farm: Farm) -> Mapping[SecretKind, list[str]]:
    """Return who of a farm has a secret of each kind, or might."""
    sources = farm.config.sources.items()
    return {
        SecretKind.PUSH: list(farm.config.recipients),
        SecretKind.STATION: [name for name, entry in sources if isinstance(entry, PushStation)],
        SecretKind.BROKER: [
            name for name, entry in sources if isinstance(entry, MqttStation) and entry.user
        ],
        SecretKind.FEED: [
            name for name, entry in sources if isinstance(entry, OpenMeteo) or is_filled_in(entry)
        ],
    }


class SecretsInUse:
    """The secrets of a running watch. Its methods are for the watch's event loop."""

    def __init__(self, watch: "Watch", secrets: Secrets) -> None:
        self._watch, self.known = watch, secrets

    async def keep(self, kind: SecretKind, name: str, text: str, *, by: str) -> None:
        """Keep a secret and use it. Raises as ``Secrets.keep``."""
        at = self._watch.clock.now()
        await asyncio.to_thread(self.known.keep, kind, name, text, by=by, at=at)
        log.info("a secret was set", kind=kind.value, of=name, by=by)
        await self._used(kind, name)

    async def remove(self, kind: SecretKind, name: str, *, by: str) -> bool:
        """Forget a secret; returns whether there was one. Raises ``OSError``."""
        found = await asyncio.to_thread(self.known.remove, kind, name)
        if found:
            log.info("a secret was removed", kind=kind.value, of=name, by=by)
            await self._used(kind, name)
        return found

    def left_over(self) -> list[tuple[SecretKind, str]]:
        """Return whose secrets are kept though the farm names nobody so any more."""
        known = wanted(self._watch.transactions.plan.farm)
        return [
            (kind, name)
            for kind in SecretKind
            for name in self.known.names(kind)
            if name not in known[kind] and not self._of_settings(kind, name)
        ]

    def _of_settings(self, kind: SecretKind, name: str) -> bool:
        state = self.known.state(kind, name)
        return state is not None and state.of_settings

    async def _used(self, kind: SecretKind, name: str) -> None:
        if kind is SecretKind.PUSH:
            self._watch.delivery.wake()
            self._watch.standby.delivery.wake()
        elif kind is not SecretKind.STATION and self._watch.farm_in_use is not None:
            await self._watch.farm_in_use.begin_anew(name)
