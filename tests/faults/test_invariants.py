"""The checker itself: a sound history passes, and every kind of wrong is found and said."""

from dataclasses import replace

import pytest

from tests.faults.invariants import (
    Arrival,
    Fault,
    History,
    Look,
    Meaning,
    Reading,
    Span,
    check,
)

STOP = Arrival(101.0, "grower", "Stop hill: gusts 19, max 15 mph", "Stop spraying. [ABCDE]")
BLIND = Arrival(480.0, "grower", "Check hill: cannot see wind", "The watch cannot see. [BLIND]")


def history(**changes: object) -> History:
    """Calm, a gust from 100 s, silence from 300 s: blind from 361 s on, at 600 s it is over."""
    calm = [Reading(float(s), 5.0, 7.0) for s in range(0, 100, 20)]
    gusts = [Reading(float(s), 8.0, 19.0) for s in range(100, 301, 20)]
    sound = History(
        recipients=("grower",),
        wind_bound_mph=10.0,
        gust_bound_mph=15.0,
        silent_after_s=60.0,
        readings=[*calm, *gusts],
        sprayed=[Span(50.0, 600.0)],
        arrivals=[STOP, replace(BLIND, at=380.0)],
        looks=[Look(90.0, frozenset({"hill"})), Look(300.0, frozenset())],
        ends=600.0,
    )
    return replace(sound, **changes)


def wrong(**changes: object) -> str:
    return "\n".join(check(history(**changes)).violations)


def test_a_sound_history_passes_and_is_counted():
    verdict = check(history())
    assert verdict.violations == ()
    assert (verdict.due, verdict.lost, verdict.repeated) == (1, 0, 0)
    assert verdict.blind_s == 19.0


def test_a_stop_that_never_came_is_lost():
    assert "lost: a bound was crossed from 100 s" in wrong(arrivals=[replace(BLIND, at=380.0)])
    assert check(history(arrivals=[])).lost == 1


def test_a_stop_that_came_too_late_is_lost():
    late = replace(STOP, at=170.0)
    assert "lost" in wrong(arrivals=[late, replace(BLIND, at=380.0)])


def test_a_stop_for_one_of_two_is_lost_to_the_other():
    assert "operator had not been told to stop" in wrong(recipients=("grower", "operator"))


def test_nothing_is_due_while_nobody_sprays():
    assert check(history(sprayed=[], arrivals=[])).violations == ()


def test_the_mean_wind_crosses_its_bound_too():
    windy = [Reading(float(s), 11.0, 12.0) for s in range(0, 301, 20)]
    assert "lost" in wrong(readings=windy, arrivals=[replace(BLIND, at=380.0)])


@pytest.mark.parametrize("what", ["phone", "watch"])
def test_while_something_is_broken_the_minute_does_not_run(what):
    broken = Fault(what, Span(100.0, 250.0))
    blind = replace(BLIND, at=380.0)
    down = Arrival(260.0, "grower", "Watch was down 11:01 to 11:04", "[DOWNN]")
    got = [replace(STOP, at=305.0), blind, replace(BLIND, at=381.0), down]
    assert check(history(faults=[broken], arrivals=got)).lost == 0
    assert check(history(faults=[broken], arrivals=got[1:])).lost == 1


def test_a_stop_is_due_while_the_log_is_broken():
    broken = Fault("log", Span(90.0, 250.0))
    got = [replace(BLIND, at=140.0), replace(BLIND, at=381.0)]
    assert check(history(faults=[broken], arrivals=[replace(STOP, at=150.0), *got])).lost == 0
    assert check(history(faults=[broken], arrivals=[replace(STOP, at=305.0), *got])).lost == 1


def test_a_phone_that_failed_for_long_may_take_a_while_to_be_tried_again():
    broken = Fault("phone", Span(100.0, 150.0), settles_s=60.0)
    got = [replace(STOP, at=265.0), replace(BLIND, at=380.0)]
    assert check(history(faults=[broken], arrivals=got)).lost == 0
    assert check(history(faults=[replace(broken, settles_s=0.0)], arrivals=got)).lost == 1


def test_a_silent_station_that_is_not_told_is_found():
    assert "silent: blind (station) from 361 s; by 421 s" in wrong(arrivals=[STOP])


def test_blindness_told_after_a_minute_is_found():
    assert "silent" in wrong(arrivals=[STOP, BLIND])


@pytest.mark.parametrize(("broken_at", "said_again"), [(320.0, False), (220.0, True)])
def test_blindness_interrupted_for_less_than_a_minute_is_one(broken_at, said_again):
    broken = Fault("log", Span(broken_at, broken_at + 10))
    said = Arrival(broken_at + 1, "grower", "Check: the watch cannot write its log", "[DIRECT]")
    found = wrong(faults=[broken], arrivals=[STOP, said])
    assert ("silent: blind (station)" in found) is said_again


def test_a_log_that_cannot_be_used_must_be_told():
    broken = Fault("log", Span(200.0, 290.0))
    assert "silent: blind (log) from 200 s" in wrong(faults=[broken])
    found = Arrival(230.0, "grower", "Check: the watch cannot write its log", "[DIRECT]")
    assert wrong(faults=[broken], arrivals=[*history().arrivals, found]) == ""


def test_a_watch_that_was_down_must_say_so():
    down = Fault("watch", Span(200.0, 220.0))
    assert "silent: blind (watch down) from 200 s" in wrong(faults=[down])
    found = Arrival(230.0, "grower", "Watch was down 11:03 to 11:03", "[DOWNN]")
    assert wrong(faults=[down], arrivals=[*history().arrivals, found]) == ""


def test_a_clock_that_is_wrong_while_a_bound_is_crossed_must_be_told_or_the_stop():
    jumped = Fault("clock", Span(90.0, 250.0))
    assert "silent: blind (clock) from 100 s" in wrong(
        faults=[jumped], arrivals=[replace(STOP, at=260.0), replace(BLIND, at=380.0)]
    )
    found = Arrival(110.0, "grower", "The watch's clock jumped", "[CLOCK]")
    got = [found, replace(STOP, at=260.0), replace(BLIND, at=380.0)]
    assert wrong(faults=[jumped], arrivals=got) == ""


def test_a_stop_that_is_not_so_is_stale():
    early = replace(STOP, at=90.0, body="[EARLY]")
    assert "stale: grower was told 'Stop hill: gusts 19, max 15 mph' at 90 s" in wrong(
        arrivals=[early, *history().arrivals]
    )


def test_what_says_how_late_it_is_is_not_told_as_new():
    after = replace(STOP, at=590.0, body="This alert is 4 min late; it was true at 11:05. [LATER]")
    assert wrong(arrivals=[*history().arrivals, after], kills=1) == ""
    said = wrong(arrivals=[*history().arrivals, replace(after, body="[LATER]")], kills=1)
    assert said.startswith("stale")


def test_blindness_that_is_not_so_is_untrue():
    early = replace(BLIND, at=250.0)
    assert "untrue: grower was told 'Check hill: cannot see wind' at 250 s; all was seen" in wrong(
        arrivals=[*history().arrivals, early]
    )


def test_an_all_clear_while_a_bound_is_crossed_is_untrue():
    clear = Arrival(200.0, "grower", "All clear hill: inside for 10 min", "Back. [CLEAR]")
    assert "a bound was crossed" in wrong(arrivals=[*history().arrivals, clear])


@pytest.mark.parametrize("at", [200.0, 500.0], ids=["crossed", "unseen"])
def test_what_looks_suitable_and_is_not_is_untrue(at):
    assert "hill shown as suitable" in wrong(looks=[Look(at, frozenset({"hill"}))])


def test_hours_ahead_that_nobody_knows_must_not_look_suitable():
    looks = [Look(90.0, frozenset({"hill"}), ahead=True)]
    assert wrong(looks=looks) == ""
    assert "hours ahead shown as suitable" in wrong(looks=looks, ahead_known=False)


def test_the_same_message_twice_needs_a_death_or_an_unheard_answer():
    twice = [*history().arrivals, replace(STOP, at=110.0)]
    assert "repeated: grower was told the same 1 times more; at most 0" in wrong(arrivals=twice)
    assert wrong(arrivals=twice, kills=1) == ""
    assert wrong(arrivals=twice, unheard=1) == ""


def test_the_same_news_under_another_number_is_a_repeat_too():
    again = replace(STOP, at=110.0, body="Stop spraying. [OTHER]")
    assert "repeated" in wrong(arrivals=[*history().arrivals, again])


@pytest.mark.parametrize(
    ("title", "body", "means"),
    [
        ("Stop hill: too windy, 12 mph", "", Meaning.STOP),
        ("", "Stop hill: too windy, 12 mph. Stop spraying.", Meaning.STOP),
        ("", "4 min LATE, true 11:05. Stop hill: too windy, 12 mph. (ABCDE)", Meaning.STOP),
        ("Check hill: cannot see wind", "", Meaning.BLIND),
        ("Check: the watch cannot write its log", "", Meaning.BLIND),
        ("Cannot see: the watch does not judge", "", Meaning.BLIND),
        ("The machine's clock jumped", "", Meaning.BLIND),
        ("Watch was down 10:00 to 10:05", "", Meaning.BLIND),
        ("All clear hill: inside for 10 min", "", Meaning.CLEAR),
        ("Get ready hill: inversion from 19:00", "", Meaning.OTHER),
        ("Watch sees again", "", Meaning.OTHER),
    ],
)
def test_what_a_message_means_is_read_off_its_beginning(title, body, means):
    assert Arrival(0.0, "grower", title, body).means is means
