"""A form of a record filled in: all that was changed or nothing, once, over nobody's head."""

import pytest

from tests.support import job_steps, sprayed
from tests.support.sprayed import RuleGroup, composing
from watcher.records.checklist import checklist
from watcher.records.errors import RecordError
from watcher.records.filling import WHY, Filled, MeanwhileError, fill
from watcher.records.form import WrongValuesError
from watcher.records.layout import Writer
from watcher.records.record import Record


def send(desk: RuleGroup, job: int, form: Filled, by: str = "grower") -> Record:
    with desk.store.writing() as session:
        weather = composing(session, desk.farm)
        return fill(session, desk.plan, weather, job, form, by=by, now=desk.now)


def test_what_was_not_changed_in_it_is_not_written(desk, job) -> None:
    values = {"crop": "soybeans", "location": "section 13"}
    was = {"crop": "soybeans", "location": "section 12 (invented)"}
    record = send(desk, job, Filled(values, was))
    assert set(record.entered) == {"location"}


def test_a_form_without_a_change_writes_no_entry(desk, job) -> None:
    assert send(desk, job, Filled({"crop": "soybeans"}, {"crop": "soybeans"})).entries == ()


def test_a_bare_number_is_in_the_farms_unit_and_another_unit_is_read(desk, job) -> None:
    assert send(desk, job, Filled({"area": "38"})).value("area") == pytest.approx(153_780.54)
    assert send(desk, job, Filled({"area": "12 ha"})).value("area") == pytest.approx(120_000)


def test_the_same_form_sent_again_is_no_second_entry(desk, job) -> None:
    form = Filled({"location": "section 13"}, {"location": "section 12 (invented)"}, step="abc")
    first = send(desk, job, form)
    send(desk, job, Filled({"location": "section 14"}))
    again = send(desk, job, form)
    assert len(again.entries) == len(first.entries) + 1
    assert again.value("location") == "section 14"


def test_the_key_of_another_is_not_ones_own(desk, job) -> None:
    send(desk, job, Filled({"location": "section 13"}, step="abc"))
    record = send(desk, job, Filled({"location": "section 14"}, step="abc"), by="other")
    assert record.value("location") == "section 14"


def test_what_another_changed_since_is_named_and_nothing_is_written(desk, job) -> None:
    send(desk, job, Filled({"location": "section 13"}), by="other")
    form = Filled(
        {"location": "section 14", "crop": "beans"},
        {"location": "section 12 (invented)", "crop": "soybeans"},
    )
    with pytest.raises(WrongValuesError, match='other wrote "section 13" at 16:00') as refused:
        send(desk, job, form)
    assert isinstance(refused.value.wrong["location"], MeanwhileError)
    assert desk.look(job).value("crop") == "soybeans"


def test_two_who_write_the_same_agree(desk, job) -> None:
    send(desk, job, Filled({"location": "section 13"}), by="other")
    record = send(desk, job, Filled({"location": "section 13"}, {"location": "section 12"}))
    assert len(record.entries) == 1


def test_what_is_there_is_not_emptied(desk, job) -> None:
    with pytest.raises(WrongValuesError, match="is not emptied"):
        send(desk, job, Filled({"crop": ""}, {"crop": "soybeans"}))


def test_a_job_that_goes_on_is_not_filled_in(desk, store) -> None:

    sprayed.put_readings(store, sprayed.MORNING - 3600, sprayed.MORNING + 60)
    job = desk.run(job_steps.start, desk.plan, "hill", "coarse", sprayed.MORNING)
    with pytest.raises(RecordError, match="is not ended"):
        send(desk, job.id, Filled({"crop": "beans"}))


class TestClosed:
    def test_a_form_of_a_closed_record_is_a_correction_and_taken_once(self, desk, job) -> None:
        desk.close(job)
        form = Filled({"area": "38"}, step="abc", why="measured anew")
        for _ in range(2):
            record = send(desk, job, form)
        made = [(c.correction.key, c.correction.why) for c in record.corrections]
        assert made == [("area", "measured anew"), ("total", "rate times area")]

    def test_a_correction_without_a_reason_is_said_beside_it(self, desk, job) -> None:
        desk.close(job)
        with pytest.raises(WrongValuesError) as refused:
            send(desk, job, Filled({"crop": "beans"}))
        assert set(refused.value.wrong) == {WHY}


def test_the_list_has_what_is_missing_first_and_each_value_once(desk, job) -> None:
    desk.tell(job, product_2="Other (invented)")
    zone = desk.farm.zone
    found = checklist(desk.look(job), ["former 7 CFR 110"], Writer(zone, "us"))
    assert [line.key for line in found.missing] == ["registration.2", "total.2"]
    keys = [line.key for part in found.there for line in part.lines]
    every = [*(line.key for line in (*found.missing, *found.blank)), *keys]
    assert len(every) == len(set(every))
    area = next(line for part in found.there for line in part.lines if line.key == "area")
    assert (area.unit, str(area.origin)) == ("acre", "worked out")
    assert "product.3" in every
