"""The steps of a record: what is kept, typed in, refused, closed and put right."""

from datetime import datetime
from functools import partial
from zoneinfo import ZoneInfo

import pytest

from tests.support import job_steps, sprayed
from tests.support.farms import build
from tests.support.skies import judged, timeline
from tests.support.sprayed import HOUR, MINUTE, MORNING
from watcher.i18n.language import language
from watcher.jobs.commands import take
from watcher.jobs.steps import StepName, StepRequest
from watcher.judge.start_check import obstacles
from watcher.limits.farm_arrays import FarmArrays
from watcher.records.errors import IncompleteError, RecordError
from watcher.records.form import FormError, WrongValuesError
from watcher.records.page import page_of
from watcher.store.errors import UnknownJobError


def kinds(record) -> list[str]:
    return [entry.link.kind for entry in record.entries]


@pytest.fixture
def closed(desk, job):
    """The record of the job, closed."""
    desk.close(job)
    return job


def test_a_closed_record_tells_who_where_what_when_and_with_what(desk, job) -> None:
    record = desk.close(job)
    found = {key: record.value(key) for key in record.values}
    assert (found["applicator"], found["certificate"]) == ("A. Grower", "0000")
    assert (found["location"], found["crop"], found["target"]) == (
        "section 12 (invented)",
        "soybeans",
        "waterhemp",
    )
    assert (found["product"], found["registration"]) == ("Contact A (invented)", "00000-000")
    assert (found["started"], found["ended"]) == (
        "2026-06-10T11:00:00-05:00",
        "2026-06-10T12:15:00-05:00",
    )
    assert (found["setup"], found["droplets"], found["nozzle"]) == (
        "coarse",
        "coarse",
        "air induction",
    )
    assert found["boom_height"] == 0.508


def test_the_total_is_the_rate_on_the_area(desk, job) -> None:
    record = desk.close(job)
    acres = record.value("area") / 4046.8564224
    # A 400 m square is 39.54 acres; the invented one is drawn with round metres a degree.
    assert acres == pytest.approx(39.54, rel=0.005)
    assert record.value("total") == f"{22 * acres:.1f} fl oz"


def test_the_weather_is_kept_at_every_mark_with_pauses_marked(desk, job) -> None:
    kept = desk.close(job).kept
    assert [(m.mark, m.paused) for m in kept.moments] == [
        ("start", False),
        ("30 min", True),
        ("60 min", False),
        ("end", False),
    ]
    (pause,) = kept.pauses
    assert (pause.until - pause.since, pause.why) == (10 * MINUTE, "filling")


def test_alerts_are_kept_with_when_they_were_acknowledged(desk, job) -> None:
    (alert,) = desk.close(job).closed.closing.alerts
    assert (alert.said, alert.recipient) == ("Get ready: gusts 9 mph", "grower")
    assert (alert.acknowledged_by, alert.acknowledged_at) == ("grower", MORNING + 42 * MINUTE)


def test_a_record_that_lacks_something_is_not_closed_and_says_what_to_type(desk, job) -> None:
    desk.farm = sprayed.farm(certificate=None)
    desk.plan = FarmArrays.of(desk.farm)
    with pytest.raises(IncompleteError) as refused:
        desk.close(job)
    assert [m.key for m in refused.value.missing] == ["certificate"]
    assert "certificate or licence number (former 7 CFR 110" in str(refused.value)
    assert "watcher record" not in str(refused.value)  # the pages have a form
    assert refused.value.command.splitlines() == [
        f"watcher record set {job} certificate=…",
        f'watcher record close {job} --incomplete "why"',
    ]
    assert desk.look(job).closed is None
    assert desk.look(job).entries == ()


def test_what_a_record_lacks_is_said_in_spanish(desk, job) -> None:
    desk.farm = sprayed.farm(certificate=None)
    desk.plan = FarmArrays.of(desk.farm)
    with pytest.raises(IncompleteError) as refused:
        desk.close(job)
    first, lack, mend = refused.value.text.render(language("es")).splitlines()
    assert first == f"El registro del trabajo {job} no se cierra: falta 1 cosa."
    assert lack.startswith("  ")
    assert "certificate" not in lack
    assert "(former 7 CFR 110, " in lack
    assert mend.startswith("Anote lo que falta")


def test_a_record_can_be_closed_incomplete_with_the_reason_in_it(desk, job) -> None:
    desk.farm = sprayed.farm(certificate=None)
    desk.plan = FarmArrays.of(desk.farm)
    closing = desk.close(job, incomplete="licence is being renewed").closed.closing
    assert closing.incomplete == "licence is being renewed"
    assert [m.key for m in closing.missing] == ["certificate"]


def test_no_reason_is_none(desk, job) -> None:
    with pytest.raises(RecordError, match="say why"):
        desk.close(job, incomplete=" ")


def test_a_record_that_lacks_nothing_is_not_called_incomplete(desk, job) -> None:
    assert desk.close(job, incomplete="just in case").closed.closing.incomplete is None


def test_what_is_typed_in_stands_before_the_farm_file(desk, job) -> None:
    desk.tell(job, applicator="B. Hand", area="38 acre")
    record = desk.close(job)
    assert record.value("applicator") == "B. Hand"
    assert record.values["applicator"].origin == "typed in"
    assert record.value("total") == "836.0 fl oz"  # 22 × 38


def test_a_product_of_the_farm_file_brings_its_number_and_rate(desk, job) -> None:
    record = desk.tell(job, product_2="wetter")
    assert record.value("product.2") == "Wetter (invented)"
    assert record.value("registration.2") == "00000-001"
    assert desk.tell(job, rate_2="2 pt/acre").value("rate.2") == "2 pt/acre"


def test_a_product_that_the_farm_file_does_not_have_is_typed_in_whole(desk, job) -> None:
    desk.tell(job, product_2="Other (invented)")
    with pytest.raises(IncompleteError) as refused:
        desk.close(job)
    assert {m.key for m in refused.value.missing} == {"registration.2", "total.2"}


def test_a_slip_writes_nothing(desk, job) -> None:
    with pytest.raises(FormError):
        desk.tell(job, applicator="B. Hand", area="forty")
    assert desk.look(job).entries == ()


def test_every_slip_is_named_and_nothing_is_written(desk, job) -> None:
    with pytest.raises(WrongValuesError) as refused:
        desk.tell(job, applicator="B. Hand", area="forty", rate="a lot")
    assert set(refused.value.wrong) == {"area", "rate"}
    assert desk.look(job).entries == ()


def test_a_running_job_is_shown_and_not_closed(desk, store, farm) -> None:
    sprayed.put_readings(store, MORNING - HOUR, MORNING + HOUR)
    job = desk.run(job_steps.start, desk.plan, "hill", "coarse", MORNING)
    desk.now = MORNING + 40 * MINUTE
    assert [m.mark for m in desk.look(job.id).kept.moments] == ["start", "30 min", "end"]
    with pytest.raises(RecordError, match="finish or abandon it first"):
        desk.close(job.id)


def test_how_much_of_an_abandoned_field_was_sprayed_is_asked(desk, store) -> None:
    sprayed.put_readings(store, MORNING - HOUR, MORNING + HOUR)
    job = desk.run(job_steps.start, desk.plan, "creek_side", "coarse", MORNING)
    desk.run(job_steps.abandon, job.id, MORNING + 20 * MINUTE, "wind came up")
    with pytest.raises(IncompleteError) as refused:
        desk.close(job.id)
    assert {m.key for m in refused.value.missing} == {"area", "total"}
    desk.tell(job.id, area="10 acre", part="east half")
    assert desk.close(job.id).value("note") == "wind came up"


def test_a_record_tells_the_part_that_was_sprayed(desk, store) -> None:
    sprayed.put_readings(store, MORNING - HOUR, MORNING + 2 * HOUR)
    job = desk.run(job_steps.start, desk.plan, "creek_side", "coarse", MORNING)
    desk.run(job_steps.finish, job.id, MORNING + 25 * MINUTE, done="40 %")
    values = desk.keep(job.id).values
    whole_m2 = desk.plan.farm.ground.area_m2("creek_side")
    assert values["part"].value == "40% of the field"
    assert values["area"].value == pytest.approx(0.4 * whole_m2)


def test_what_a_start_broke_and_the_yes_to_it_are_in_the_record(desk, store) -> None:
    sprayed.put_readings(store, MORNING - HOUR, MORNING + 2 * HOUR)
    sky = timeline(wind_mph=12.0)
    judgement = judged(desk.plan, sky)[0]
    agreed = StepRequest(
        StepName.START, "driver", field="hill", setup="coarse", confirm=("wind broken",)
    )
    taken = desk.run(take, desk.plan, agreed, MORNING, partial(obstacles, judgement, 0))
    desk.run(job_steps.finish, taken.job.id, MORNING + 25 * MINUTE)
    record = desk.keep(taken.job.id)
    said = "wind 12 mph, at most 10 mph (label): 2 mph over"
    assert [(found.limit, found.said) for found in record.kept.against] == [("wind", said)]
    tables = page_of(record, (), None).tables
    [table] = [t for t in tables if t.title == "Started all the same, with a plain yes to"]
    assert table.rows[0][0] == said


def test_a_late_step_is_in_the_record(desk, store, job) -> None:
    desk.keep(job)
    pause = StepRequest(StepName.PAUSE, "driver", job=job, at=MORNING + 5 * MINUTE)
    desk.run(take, desk.plan, pause, MORNING + 80 * MINUTE, job_steps.nothing_against)
    pauses = desk.keep(job).kept.pauses
    assert pauses[0].since == MORNING + 5 * MINUTE


def test_a_setup_changed_on_the_way_is_two_setups_and_judged_as_each(desk, store) -> None:
    sprayed.put_readings(store, MORNING - HOUR, MORNING + 2 * HOUR)
    job = desk.run(job_steps.start, desk.plan, "creek_side", "fine", MORNING)
    desk.run(job_steps.change_setup, desk.plan, job.id, "coarse", MORNING + 40 * MINUTE)
    desk.run(job_steps.finish, job.id, MORNING + 80 * MINUTE)
    record = desk.close(job.id)
    assert [m.setup for m in record.kept.moments] == ["fine", "fine", "coarse", "coarse"]
    assert (record.value("droplets"), record.value("droplets.2")) == ("fine", "coarse")


def test_a_start_typed_in_moves_the_marks(desk, job) -> None:
    desk.keep(job)
    desk.tell(job, started="2026-06-10T10:40", ended="2026-06-10T11:50")
    record = desk.close(job)
    began = datetime(2026, 6, 10, 10, 40, tzinfo=ZoneInfo("America/Chicago")).timestamp()
    assert [m.at - began for m in record.kept.moments] == [0, 1800, 3600, 4200]
    assert kinds(record) == ["kept", "told", "kept", "closed"]


@pytest.mark.parametrize(
    ("expected", "says"),
    [
        ({"ended": "2026-06-10T10:00"}, "would end before it starts"),
        ({"ended": "2026-06-12T23:00"}, "would end only after now"),
    ],
)
def test_times_that_cannot_be_are_refused(desk, job, expected: dict[str, str], says: str) -> None:
    with pytest.raises(FormError, match=says):
        desk.tell(job, **expected)
    assert desk.look(job).entries == ()


def test_a_job_left_open_for_days_must_be_told_when_it_ended(desk, store) -> None:
    job = desk.run(job_steps.start, desk.plan, "creek_side", "coarse", MORNING)
    desk.run(job_steps.finish, job.id, MORNING + 72 * HOUR)
    desk.now = MORNING + 73 * HOUR
    with pytest.raises(RecordError, match=r"open for 72 h.*really ended") as refused:
        desk.close(job.id)
    assert refused.value.command == f"watcher record set {job.id} ended=…"


def test_what_was_kept_soon_after_the_job_stands_when_the_farm_file_changes(desk, job) -> None:
    desk.keep(job)
    changed = sprayed.farm_tables()
    changed["setups"]["coarse"]["pressure"] = "60 psi"
    changed["fields"]["creek_side"]["crop"] = "corn"
    desk.farm = build(changed)
    desk.plan = FarmArrays.of(desk.farm)
    record = desk.close(job)
    assert record.value("crop") == "soybeans"
    assert record.value("pressure") is None


def test_keeping_twice_writes_once(desk, job) -> None:
    desk.keep(job)
    assert kinds(desk.keep(job)) == ["kept"]


def test_a_field_that_is_gone_from_the_farm_file_is_told(desk, job) -> None:
    changed = sprayed.farm_tables()
    del changed["fields"]["creek_side"]
    desk.plan = FarmArrays.of(build(changed))
    with pytest.raises(RecordError, match="field creek_side is no longer in the farm file"):
        desk.close(job)


def test_a_closed_record_is_corrected_and_not_typed_over(desk, closed) -> None:
    with pytest.raises(RecordError, match="correct it"):
        desk.tell(closed, applicator="B. Hand")
    with pytest.raises(RecordError, match="closed already"):
        desk.close(closed)


def test_a_correction_names_the_field_both_values_who_when_and_why(desk, closed) -> None:
    desk.now += HOUR
    record = desk.correct(closed, "mistyped", certificate="0001")
    (made,) = record.corrections
    c = made.correction
    assert (c.key, c.old, c.new, c.why) == ("certificate", "0000", "0001", "mistyped")
    assert (made.by, made.at) == ("grower", desk.now)
    assert record.value("certificate") == "0001"
    assert record.closed.closing.values["certificate"].value == "0000"


def test_a_total_that_was_worked_out_follows_a_corrected_area(desk, closed) -> None:
    record = desk.correct(closed, "one swath left", area="38 acre")
    assert [made.correction.key for made in record.corrections] == ["area", "total"]
    assert record.value("total") == "836.0 fl oz"
    assert record.corrections[1].correction.why == "rate times area"


def test_a_total_that_was_typed_in_stays(desk, job) -> None:
    desk.tell(job, total="870 fl oz")
    desk.close(job)
    assert desk.correct(job, "one swath left", area="38 acre").value("total") == "870 fl oz"


def test_a_correction_needs_a_reason_and_another_value(desk, closed) -> None:
    with pytest.raises(RecordError, match="a correction says why"):
        desk.correct(closed, " ", certificate="0001")
    with pytest.raises(RecordError, match="is that already"):
        desk.correct(closed, "again", certificate="0000")


def test_an_open_record_is_typed_over_and_not_corrected(desk, job) -> None:
    with pytest.raises(RecordError, match="can simply be changed"):
        desk.correct(job, "mistyped", certificate="0001")


def test_a_job_that_is_none_has_no_record(desk) -> None:
    with pytest.raises(UnknownJobError, match="no job 7"):
        desk.close(7)


def test_what_was_changed_on_the_way_stands_in_the_record_and_its_moments(
    store, farm, desk
) -> None:
    sprayed.put_forecast(store, sprayed.MORNING)
    sprayed.put_readings(store, sprayed.MORNING - 2 * sprayed.HOUR, sprayed.MORNING + 3601)
    changed = {"boom": "15 in", "strip": "2 passes"}
    with store.writing() as session:
        job = sprayed.job_steps.start(session, desk.plan, "creek_side", "coarse", sprayed.MORNING)
        step = StepRequest(
            StepName.CHANGE, "grower", job=job.id, changed=changed, at=sprayed.MORNING + 900
        )
        take(session, desk.plan, step, sprayed.MORNING + 900, lambda *_: ())
        sprayed.job_steps.finish(session, job.id, sprayed.MORNING + 3600)
    record = desk.close(job.id)
    [found] = record.kept.changed
    assert (found.at, found.by, found.said) == (sprayed.MORNING + 900, "grower", changed)
    first, later = record.kept.moments[0], record.kept.moments[1]
    assert later.boom_height_m == pytest.approx(first.boom_height_m - 0.508 + 0.381)
    assert later.landing[0].upper_pct < first.landing[0].upper_pct
    assert later.landing[0].gap_m == pytest.approx(first.landing[0].gap_m + 2 * 27.432)
    page = page_of(record, (), None)
    [table] = [t for t in page.tables if t.title == "Changed on the way"]
    assert table.rows[0][1:] == ("grower", "boom at 15 in; strip left 2 passes")
    whole = desk.plan.farm.ground.area_m2("creek_side")
    left = 2 * 27.432 / 400  # of a field that is 400 m across
    assert record.values["area"].value == pytest.approx((1 - left) * whole, rel=0.005)
    assert record.values["part"].value == f"{1 - left:.1%} of the field, but for strips left"


def test_the_grower_s_own_word_on_how_much_was_sprayed_stands(store, farm, desk) -> None:
    sprayed.put_forecast(store, sprayed.MORNING)
    sprayed.put_readings(store, sprayed.MORNING - 2 * sprayed.HOUR, sprayed.MORNING + 3601)
    with store.writing() as session:
        job = sprayed.job_steps.start(session, desk.plan, "creek_side", "coarse", sprayed.MORNING)
        step = StepRequest(StepName.CHANGE, "", job=job.id, changed={"strip": "2 passes"})
        take(session, desk.plan, step, sprayed.MORNING + 900, lambda *_: ())
        sprayed.job_steps.finish(session, job.id, sprayed.MORNING + 3600, done="70 %")
    record = desk.close(job.id)
    assert record.values["part"].value == "70% of the field"
