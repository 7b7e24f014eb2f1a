"""A station that tells too much at once is told to send it again; what it sent in time is kept."""

import asyncio
from pathlib import Path

import httpx
import numpy as np
import pytest

from tests.support.visiting import CALM, visited

pytestmark = pytest.mark.long


async def test_a_station_that_floods_is_bounded_and_heard_again_afterwards(tmp_path: Path) -> None:
    async with visited(tmp_path, calm=False) as v:
        first = v.service.clock.at - 600

        async def post(number: int) -> httpx.Response:
            content = {"time": f"{np.datetime64(first + number, 's')}Z"} | CALM
            return await v.service.http.post(
                "/api/v1/stations/mast/readings", json=content, timeout=120
            )

        answers = await asyncio.gather(*(post(number) for number in range(80)))
        refused = [answer for answer in answers if answer.status_code == 503]
        assert {answer.status_code for answer in answers} == {200, 503}
        assert {answer.headers["retry-after"] for answer in refused} == {"2"}
        assert (await post(300)).status_code == 200
