"""What rules ask of a record, and the days they name.

Dates: the date checks of the project's domain notes, section 8, calendar-day arithmetic.
"""

from datetime import date, datetime
from typing import get_args
from zoneinfo import ZoneInfo

import pytest

from watcher.farm.products import RecordRule
from watcher.records.facts import Held
from watcher.records.record import Record
from watcher.records.rules import deadlines, due_next, missing

CHICAGO = ZoneInfo("America/Chicago")
FEDERAL: tuple[RecordRule, ...] = ("former 7 CFR 110",)
EVERY: tuple[RecordRule, ...] = get_args(RecordRule)
_WORDS = (
    "product registration total crop location started ended applicator certificate client "
    "client_address eppo use nozzle pressure buffer sensitive_check reading_start reading_end"
)
FULL = dict.fromkeys(_WORDS.split(), "told") | {"rate": "1 L/ha", "area": 1e5}


def record(**values: object) -> Record:
    found = {
        key.replace("_2", ".2"): Held.model_validate({"value": value, "origin": "typed in"})
        for key, value in values.items()
        if value is not None
    }
    return Record(1, entered=found)


def at(*when: int, zone: ZoneInfo = CHICAGO) -> int:
    return int(datetime(*when, tzinfo=zone).timestamp())


def days(
    *rules: RecordRule, started: int, ended: int | None = None, for_client: bool = False
) -> dict[tuple[str, str], date | datetime]:
    found = deadlines(
        rules,
        started=started,
        ended=ended or started,
        zone=CHICAGO,
        for_client=for_client,
    )
    return {(d.what, d.rule): d.by for d in found}


def test_the_days_of_the_former_federal_rule() -> None:
    found = days("former 7 CFR 110", started=at(2026, 3, 1, 9), for_client=True)
    assert found == {
        ("record written", "former 7 CFR 110"): date(2026, 3, 15),
        ("client has a copy", "former 7 CFR 110"): date(2026, 3, 31),
        ("record kept until", "former 7 CFR 110"): date(2028, 3, 1),
    }


def test_the_72_hours_of_the_domain_notes() -> None:
    found = days("72 h label", started=at(2026, 3, 1, 14))
    assert found["record complete", "72 h label"] == datetime(2026, 3, 4, 14, tzinfo=CHICAGO)
    assert found["record kept until", "72 h label"] == date(2028, 3, 1)


def test_72_hours_are_elapsed_hours_whatever_the_clock_does() -> None:
    # The clock goes forward an hour on 8 March 2026.
    due = days("72 h label", started=at(2026, 3, 7, 14))["record complete", "72 h label"]
    assert due == datetime(2026, 3, 10, 15, tzinfo=CHICAGO)


def test_the_european_record_is_kept_for_three_years() -> None:
    found = days("EU 2023/564", started=at(2026, 3, 1, 9))
    assert found == {("record kept until", "EU 2023/564"): date(2029, 3, 1)}


def test_the_day_is_the_farms_not_that_of_utc() -> None:
    # 21:00 in Chicago on 1 March is 2 March in UTC.
    found = days("former 7 CFR 110", started=at(2026, 3, 1, 21))
    assert found["record written", "former 7 CFR 110"] == date(2026, 3, 15)


def test_over_midnight_it_is_due_from_the_start_and_kept_from_the_end() -> None:
    found = days("former 7 CFR 110", started=at(2026, 3, 1, 23), ended=at(2026, 3, 2, 1))
    assert found["record written", "former 7 CFR 110"] == date(2026, 3, 15)
    assert found["record kept until", "former 7 CFR 110"] == date(2028, 3, 2)


def test_a_record_of_a_leap_day_is_kept_a_day_too_long_rather_than_too_short() -> None:
    found = days("former 7 CFR 110", started=at(2028, 2, 29, 9))
    assert found["record kept until", "former 7 CFR 110"] == date(2030, 3, 1)


def test_nobody_has_to_give_a_copy_without_a_client() -> None:
    found = days("former 7 CFR 110", started=at(2026, 3, 1, 9))
    assert ("client has a copy", "former 7 CFR 110") not in found


def test_a_state_that_asks_for_the_clients_copy_is_named_before_the_former_rule() -> None:
    found = days("former 7 CFR 110", "US Idaho", started=at(2026, 3, 1, 9), for_client=True)
    assert found["client has a copy", "US Idaho"] == date(2026, 3, 31)
    assert ("client has a copy", "former 7 CFR 110") not in found


def test_a_record_closed_under_the_rules_old_name_is_still_checked_by_it() -> None:
    assert {m.key for m in missing(record(), ("7 CFR 110",))} == set(
        ASKED["former 7 CFR 110"].split()
    )


@pytest.mark.parametrize(
    ("rules", "due"),
    [(FEDERAL, "2026-03-15"), (EVERY, "2026-03-04 09:00"), (("EU 2023/564",), "")],
)
def test_the_next_due_day_is_the_first_that_any_rule_names(
    rules: tuple[RecordRule, ...], due: str
) -> None:
    assert due_next(rules, started=at(2026, 3, 1, 9), zone=CHICAGO) == due


def test_a_full_record_lacks_nothing() -> None:
    assert missing(record(**FULL), EVERY) == []


# Keys by rule: 7 CFR 110.3(a) and 40 CFR 171.303(b)(7) as read in a stored copy; the fields of the
# 72 h label terms and of the EU's annex partly from memory (domain notes, section 8); the states'
# items by a summary of their rules.
ASKED = {
    "former 7 CFR 110": "product registration total area crop location started applicator "
    "certificate",
    "40 CFR 171": "product registration total area crop location started applicator certificate "
    "client client_address",
    "72 h label": "started ended nozzle pressure buffer sensitive_check reading_start reading_end",
    "EU 2023/564": "product registration eppo area rate started use",
    "US Minnesota": "product registration area location applicator certificate client "
    "client_address rate ended reading_start",
    "US Idaho": "product registration area location applicator certificate client "
    "client_address crop started reading_start",
}


@pytest.mark.parametrize(
    ("rule", "key"), [(r, k) for r, keys in ASKED.items() for k in keys.split()]
)
def test_each_thing_a_rule_asks_for_is_missed_when_it_is_not_there(
    rule: RecordRule, key: str
) -> None:
    # Without its rate the total of a product cannot be worked out either.
    spare = {"rate": None} if key == "total" else {}
    found = missing(record(**(FULL | spare | {key: None})), (rule,))
    assert [m.key for m in found] == [key]
    assert found[0].rule == rule


def test_an_empty_record_lacks_all_that_the_rule_asks_for() -> None:
    for rule, keys in ASKED.items():
        assert {m.key for m in missing(record(), (rule,))} == set(keys.split())


def test_what_two_rules_ask_for_is_missed_once() -> None:
    found = missing(record(**(FULL | {"product": None})), EVERY)
    assert [(m.key, m.rule) for m in found] == [("product", "former 7 CFR 110")]


def test_the_second_product_needs_what_the_first_one_does() -> None:
    found = missing(record(**FULL, product_2="B"), FEDERAL)
    assert [m.key for m in found] == ["registration.2", "total.2"]


def test_the_growth_stage_is_asked_for_only_where_a_product_is_bound_to_it() -> None:
    assert missing(record(**FULL, stage_bound="no"), EVERY) == []
    bound = record(**FULL, stage_bound_2="yes", product_2="B", registration_2="2", rate_2="1 L/ha")
    assert [m.key for m in missing(bound, EVERY)] == ["bbch"]


def test_it_is_marked_how_well_a_rule_is_known_here() -> None:
    found = {m.key: m.known for m in missing(record(), EVERY)}
    assert found["product"] == "from its text"
    assert found["eppo"] == "from a summary"
    assert found["buffer"] == "from memory"
