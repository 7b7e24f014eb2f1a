"""Forecasts whose errors follow a law that is known, for a year at one place."""

import numpy as np

from watcher.forecasts.history import HOUR_S, KNOWN, PATH_H, History
from watcher.store.chances import KEPT
from watcher.weather.series import Floats

START = 1_767_225_600  # 2026-01-01 00:00 UTC
NAMES = KEPT


class KnownErrors:
    """Hourly weather and forecasts every six hours: off by a constant and by an hourly swing, with
    normal errors of one spread (in roots of wind, in kelvin) that hang together from hour to hour.
    """

    def __init__(
        self,
        days: int,
        *,
        offset: float = 0.3,
        swing: float = 0.2,
        spread: float = 0.45,
        kept: float = 0.8,
        seed: int = 3,
    ) -> None:
        self.spread, self.offset, self.swing = spread, offset, swing
        rng = np.random.default_rng(seed)
        self.at = START + 6 * HOUR_S * np.arange(4 * days, dtype=np.int64)
        times = self.at[:, None] + HOUR_S * PATH_H
        count = int((times[-1, -1] - times[0, 0]) // HOUR_S) + 1
        hours = times[0, 0] + HOUR_S * np.arange(count)
        day = 2 * np.pi * (hours % 86_400) / 86_400
        self.root = 2.2 - 0.3 * np.cos(day) + 0.2 * rng.standard_normal(count)
        self.temp = 15.0 - 5.0 * np.cos(day)
        index = (times - times[0, 0]) // HOUR_S
        self.measured_root, self.measured_temp = self.root[index], self.temp[index]
        off = rng.standard_normal((*times.shape, 2))
        for k in range(1, PATH_H.size):
            off[:, k] = kept * off[:, k - 1] + np.sqrt(1 - kept**2) * off[:, k]
        usual = offset + swing * np.cos(2 * np.pi * (times % 86_400) / 86_400)
        self.foretold_root = np.maximum(self.measured_root - usual - spread * off[..., 0], 0.05)
        self.foretold_temp = self.measured_temp - 1.5 * off[..., 1]

    def history(self, row: int, rows: int = 240) -> History:
        """What was known when the forecast of a row was in hand."""
        part = slice(max(0, row + 1 - rows), row + 1)
        missing: Floats = np.full(self.foretold_root[part].shape, np.nan)
        known = self.at[part][:, None] + HOUR_S * PATH_H <= self.at[row]
        foretold = dict.fromkeys(NAMES, missing[None]) | {
            "wind_m_s": self.foretold_root[None, part] ** 2,
            "temp_c": self.foretold_temp[None, part],
        }
        measured = dict.fromkeys(NAMES, missing) | {
            "wind_m_s": np.where(known, self.measured_root[part] ** 2, np.nan),
            "temp_c": np.where(known, self.measured_temp[part], np.nan),
        }
        assert known[-1][KNOWN].all()
        return History(self.at[part], 0.0, foretold, measured)
