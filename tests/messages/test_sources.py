"""What is said of a source, word for word: its state, how often it reports, what is wrong."""

from zoneinfo import ZoneInfo

import pytest

from tests.support.english import as_it_is, english
from watcher.messages.sources import finding_words, findings, heard, state, strange_names
from watcher.source_view import Doubted, SourceView
from watcher.sources.base import Flag
from watcher.store.refused import Refused

NOW = 1_781_107_200  # 11:00 in Chicago
ZONE = ZoneInfo("America/Chicago")
POWER = "See that it has power and that its line to this machine works."
CLOCK = "Set its clock by the network, and see that it sends UTC or its own offset."
SENSOR = "Look at the sensor, its cable and the unit it is sent in."
JAMMED = "Look at the sensor: it may be jammed, iced or badly wired."


def mast(age_s: int | None = 46, **more: object) -> SourceView:
    look = {"interval_s": 60.0, "heard_s": 5} | more
    return SourceView("mast", age_s, 900.0, **look)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("source", "said"),
    [
        (mast(), "reports every 60 s, last 46 s ago"),
        (mast(interval_s=300.0), "reports every 5 min, last 46 s ago"),
        (mast(interval_s=None), "last 46 s ago"),
        (mast(None, clock_ahead_s=3595), "reports every 60 s, last came in 5 s ago"),
        (mast(3000, clock_ahead_s=3595), "reports every 60 s, last came in 5 s ago"),
        (mast(None, heard_s=None), "never heard"),
        (SourceView("feed", 1800, 9000.0), "last 30 min ago"),
    ],
)
def test_how_often_it_reports_stands_beside_when_it_last_did(source: SourceView, said: str) -> None:
    assert english(heard(source)) == said


@pytest.mark.parametrize(
    ("source", "shape", "word"),
    [
        (mast(), "●", "fresh"),
        (mast(901), "?", "stale, not relied on"),
        (mast(None), "?", "never heard"),
        (mast(None, clock_ahead_s=3595), "?", "clock ahead, not relied on"),
        (mast(clock_ahead_s=-400), "●", "fresh"),
        (mast(distrusted=("temp_c",)), "?", "not believed"),
        (mast(units={"temp_c": as_it_is("°C sent as °F")}), "◐", "doubted"),
        (mast(implausible=("temp_c",)), "◐", "doubted"),
        (mast(901, units={"temp_c": as_it_is("°C sent as °F")}), "?", "stale, not relied on"),
    ],
)
def test_its_state_is_a_shape_and_a_word(source: SourceView, shape: str, word: str) -> None:
    found, text = state(source)
    assert (found, english(text)) == (shape, word)


@pytest.mark.parametrize(
    ("source", "finding"),
    [
        (mast(1260), ("silent", "has been silent for 21 min, since 10:39", POWER)),
        (
            mast(None, why="no answer"),
            ("silent", "has not given anything yet (no answer)", POWER),
        ),
        (
            mast(None, clock_ahead_s=3595),
            ("clock", "its clock is 3595 s ahead; its readings are not used", CLOCK),
        ),
        (
            mast(ahead=True),
            (
                "clock",
                "sent readings dated ahead of now in the last hour; they are not used",
                CLOCK,
            ),
        ),
        (
            mast(clock_ahead_s=-400),
            (
                "clock",
                "its readings are dated 400 s before they come in: its clock is behind, or it "
                "sends late",
                "Set its clock by the network, or let it send each reading at once.",
            ),
        ),
        (
            mast(refused={"token": Refused("mast", "token", 3, NOW - 40, "", ("10.1", "10.2"))}),
            (
                "wrong token",
                "posts with a wrong token in the last day: 3, the last 40 s ago, from 10.2, 10.1",
                "Give the station the token that stands in the settings of the watch.",
            ),
        ),
        (
            mast(refused={"body": Refused("mast", "body", 2, NOW - 40, "'wind' has no unit", ())}),
            (
                "not understood",
                "posts not understood in the last day: 2, the last 40 s ago: 'wind' has no unit",
                "Correct what it sends, as the answer to the post says.",
            ),
        ),
        (
            mast(ignored=("battery", "rssi")),
            (
                "not read",
                "sends what is not read: battery, rssi",
                "If it is weather, map it under quantities in the farm file; else nothing is to be "
                "done.",
            ),
        ),
        (
            mast(failures_in_a_row=3, why="no answer"),
            (
                "failing",
                "failed times in a row: 3, last: no answer",
                "It is tried again by itself; if this goes on, see to what it says.",
            ),
        ),
        (
            mast(units={"humidity_pct": as_it_is("a fraction from 0 to 1, not %")}),
            (
                "unit",
                "humidity looks like a fraction from 0 to 1, not %",
                "Name the unit that it really measures in.",
            ),
        ),
        (
            mast(distrusted=("temp_c",)),
            (
                "not believed",
                "temperature failed the checks too often in the last day and is not believed "
                "until it improves; the next source speaks, or nobody",
                "Mend the sensor; it is believed again when fewer than a quarter of a day's "
                "values fail.",
            ),
        ),
        (
            mast(implausible=("temp_c",)),
            ("implausible", "temperature says what cannot be; it is not used", SENSOR),
        ),
        (
            mast(stuck=("wind_from_deg",)),
            ("stuck", "wind direction stands still and is not used", JAMMED),
        ),
        (
            mast(disagrees=("pressure_pa",)),
            (
                "disagrees",
                "pressure is far from the forecast for this hour: one of them is wrong",
                "Compare both with a hand-held reading.",
            ),
        ),
        (
            mast(doubted=(Doubted("humidity_pct", 12, 60, Flag.RANGE),)),
            (
                "doubted",
                "humidity: 12 of 60 values of the last day doubted, 20%, most often: out of range",
                SENSOR,
            ),
        ),
    ],
)
def test_a_finding_word_for_word(source: SourceView, finding: tuple[str, str, str]) -> None:
    (found,) = findings(source, NOW, ZONE)
    assert (found.kind, *english([found.sentence, found.mend])) == finding


def test_nothing_wrong_is_nothing_said() -> None:
    assert findings(mast(), NOW, ZONE) == []


def test_every_finding_of_quality_control_has_words() -> None:
    words = english(finding_words(sum(Flag)))
    assert len(words) == len(list(Flag))
    assert "doubtful" not in words


def test_posts_in_a_strange_name_are_told_with_it() -> None:
    strange = Refused("", "token", 2, NOW - 90, "<b>mst</b>", ("10.0.0.9",))
    assert english(strange_names(strange, NOW)) == (
        "posts in a name no station has in the last day: 2, the last 2 min ago, from 10.0.0.9; "
        "the last name was b mst /b"
    )
