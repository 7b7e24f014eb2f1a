"""The simulated station: posts a reading a minute over HTTP, noisy as instruments are."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Self

import httpx
import numpy as np

from demo import day
from demo.service import WITHIN_S
from watcher.weather.series import Seconds

EVERY_S = 60


class Station:
    """Posts as the source ``mast``. What it has not posted yet goes out together, in order."""

    def __init__(self, url: str, token: str, *, first: int) -> None:
        self._client = httpx.AsyncClient(
            base_url=url,
            headers={"Authorization": f"Bearer {token}"},
            trust_env=False,
            timeout=WITHIN_S,
        )
        self._next = first

    async def post(self, now: int) -> None:
        """Post the readings of every minute since the last post, together."""
        times = np.arange(self._next, now + 1, EVERY_S)
        if times.size:
            answer = await self._client.post(
                "/api/v1/stations/mast/readings", json=list(readings(times))
            )
            answer.raise_for_status()
            self._next = int(times[-1]) + EVERY_S

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *_: object) -> None:
        await self._client.aclose()


def readings(times: Seconds) -> Iterator[dict[str, str]]:
    """Yield the readings of some times. The same time always brings the same noise."""
    weather = day.truth(times)
    humidity = day.humidity_pct(weather)
    for i, time in enumerate(times):
        noise = iter(np.random.default_rng(int(time)).standard_normal(7))
        wind = max(0.1, weather.wind_m_s[i] * (1.0 + 0.06 * next(noise)))
        gust = max(wind, weather.gust_m_s[i] * (1.0 + 0.06 * next(noise)))
        upper = weather.temp_upper_c[i] + 0.03 * next(noise)
        yield {
            "time": datetime.fromtimestamp(int(time), UTC).isoformat(),
            "wind": f"{wind:.2f} m/s",
            "gust": f"{gust:.2f} m/s",
            "wind_from": f"{(weather.wind_from_deg[i] + 7.0 * next(noise)) % 360.0:.1f} deg",
            "temperature": f"{weather.temp_c[i] + 0.03 * next(noise):.2f} degC",
            "temperature_upper": f"{upper:.2f} degC",
            "humidity": f"{min(humidity[i] + 0.5 * next(noise), 100.0):.1f} %",
            "pressure": f"{weather.pressure_pa[i] + 5.0 * next(noise):.0f} Pa",
        }
