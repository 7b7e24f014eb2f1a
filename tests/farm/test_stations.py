"""How often a station may be said to send."""

import pytest
from pydantic import TypeAdapter, ValidationError

from watcher.farm.stations import Interval, NmeaStation


@pytest.mark.parametrize("text", ["1 s", "60 min"])
def test_it_sends_from_every_second_to_once_an_hour(text: str) -> None:
    assert TypeAdapter(Interval).validate_python(text) in {1.0, 3600.0}


@pytest.mark.parametrize("text", ["0.9 s", "61 min"])
def test_it_does_not_send_faster_or_slower(text: str) -> None:
    with pytest.raises(ValidationError):
        TypeAdapter(Interval).validate_python(text)


@pytest.mark.parametrize(
    ("text", "good"), [("29 s", False), ("30 s", True), ("600 s", True), ("601 s", False)]
)
def test_samples_become_a_reading_over_half_a_minute_to_ten(text: str, good: bool) -> None:
    content = {"kind": "nmea", "address": "/dev/ttyUSB0", "interval": text}
    if good:
        assert NmeaStation.model_validate(content).interval in {30.0, 600.0}
        return
    with pytest.raises(ValidationError):
        NmeaStation.model_validate(content)
