"""Whoever guesses passphrases waits longer and longer; nobody else waits for it."""

import pytest

from watcher.web.auth.login_throttle import (
    FREE_OF_NAME,
    FREE_OF_SENDER,
    GUESSED_AT,
    LONGEST_S,
    LoginThrottle,
)

NOW = 1_781_107_200
HOME, THIEF = "198.51.100.1", "203.0.113.9"


def _wrong(
    attempts: LoginThrottle, address: str, times: int, name: str = "driver", at: int = NOW
) -> None:
    for _ in range(times):
        attempts.wrong(address, name, at)


def test_a_few_slips_cost_nothing() -> None:
    attempts = LoginThrottle()
    _wrong(attempts, HOME, FREE_OF_NAME - 1)
    assert attempts.wait_s(HOME, "driver", NOW) == 0


def test_the_wait_grows_with_every_wrong_attempt_up_to_a_longest() -> None:
    attempts, waits, now = LoginThrottle(), [], NOW
    for _ in range(30):
        attempts.wrong(THIEF, "driver", now)
        waits.append(attempts.wait_s(THIEF, "driver", now))
        now += waits[-1]
        if waits[-1] < LONGEST_S:
            assert attempts.wait_s(THIEF, "driver", now) == 0
    grown = waits[FREE_OF_NAME - 1 :]
    assert grown[:4] == [2, 4, 8, 16]
    assert max(waits) == LONGEST_S


def test_nobody_waits_for_what_others_try() -> None:
    attempts = LoginThrottle()
    _wrong(attempts, THIEF, 1000)
    assert attempts.wait_s(THIEF, "driver", NOW) == LONGEST_S
    assert attempts.wait_s(HOME, "driver", NOW) == 0


def test_however_many_try_a_name_its_owner_is_let_try_once() -> None:
    attempts = LoginThrottle()
    for number in range(500):
        attempts.wrong(f"203.0.113.{number % 256}", "driver", NOW)
    assert attempts.wait_s(HOME, "driver", NOW) == 0
    attempts.wrong(HOME, "driver", NOW)
    assert attempts.wait_s(HOME, "driver", NOW) == 2


def test_a_name_that_is_guessed_at_has_fewer_attempts_without_a_wait() -> None:
    attempts = LoginThrottle()
    for number in range(GUESSED_AT):
        attempts.wrong(f"203.0.113.{number}", "driver", NOW)
    attempts.wrong(HOME, "driver", NOW)
    attempts.wrong(HOME, "mate", NOW)
    assert attempts.wait_s(HOME, "driver", NOW) > 0
    assert attempts.wait_s(HOME, "mate", NOW) == 0


def test_other_names_from_the_same_sender_are_counted_together() -> None:
    attempts = LoginThrottle()
    for number in range(FREE_OF_SENDER):
        attempts.wrong(THIEF, f"name {number}", NOW)
    assert attempts.wait_s(THIEF, "driver", NOW) > 0
    assert attempts.wait_s(HOME, "driver", NOW) == 0


def test_addresses_of_one_ipv6_network_are_one_sender() -> None:
    attempts = LoginThrottle()
    for number in range(FREE_OF_NAME):
        attempts.wrong(f"2001:db8::{number:x}", "driver", NOW)
    assert attempts.wait_s("2001:db8::ffff", "driver", NOW) > 0


def test_who_comes_in_has_their_slips_forgotten() -> None:
    attempts = LoginThrottle()
    _wrong(attempts, HOME, FREE_OF_NAME)
    attempts.right(HOME, "driver")
    assert attempts.wait_s(HOME, "driver", NOW) == 0


@pytest.mark.parametrize("later_s", [LONGEST_S, LONGEST_S + 1, -3600])
def test_attempts_long_ago_are_forgotten_and_so_are_those_of_a_wrong_clock(later_s: int) -> None:
    attempts = LoginThrottle()
    _wrong(attempts, THIEF, 100)
    assert attempts.wait_s(THIEF, "driver", NOW + later_s) == 0


def test_strangers_names_do_not_fill_the_memory() -> None:
    attempts = LoginThrottle()
    for number in range(10_000):
        attempts.wrong(f"10.{number % 200}.0.1", f"{number}" * 20, NOW)
    assert len(attempts._wrong) <= 20_000
