"""Choices of plans for tests: fields in groups between which something has to be changed."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from watcher.weather.series import Floats


def of_groups(
    group: NDArray[np.intp], change_s: Floats, sprayers: int, starts: int
) -> dict[str, Any]:
    """Return the states and changes of sprayers for which only the groups of the fields count.

    ``group`` [F], ``change_s`` [G, G]: what changing from group to group takes. [s]
    """
    groups = len(change_s)
    state = groups * np.arange(sprayers)[:, None, None] + group[None, :, None]
    return {
        "state": np.broadcast_to(state, (sprayers, len(group), starts)),
        "change_s": np.tile(change_s, (sprayers, sprayers)),
    }
