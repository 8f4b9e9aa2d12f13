"""What a finding asks for: a repair by a day, another test, a record delivered; and how a delivery stands."""

import uuid
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.assess.due.deliveries import Asked, as_it_stands, asked_after, asked_before, asked_by_sets, differs
from fleet.assess.due.follow_ups import last_day_of, retests_started
from fleet.models import Defect, Delivery, LimitSet, Tenancy, Visit

FOUND = date(2026, 3, 2)
WITHIN = {"unsafe": 0, "urgent": 14, "repair": 28}


def version(name: str = "House rules", **content: Any) -> Any:
    limit_set = LimitSet(id=uuid.uuid5(uuid.NAMESPACE_DNS, name), key=name.lower().replace(" ", "-"), name=name)
    return SimpleNamespace(limit_set=limit_set, limit_set_id=limit_set.id, content=content)


# ---- repairs ----


def due_of(severity: str, *versions: Any, repair_by: date | None = None) -> tuple[date | None, list[Any]]:
    defect = Defect(visit=Visit(local_date=FOUND), severity=severity, repair_by=repair_by)
    return last_day_of(defect, versions, WITHIN)


def test_without_anybodys_word_the_contractors_own_days_count() -> None:
    """28 days after 2 March is 30 March: 29 days are left of March."""
    due, steps = due_of("repair")
    assert due == date(2026, 3, 30)
    assert steps == [["by_own_choice", {"days": 28, "found_on": "2026-03-02", "due_on": "2026-03-30"}]]
    assert due_of("unsafe")[0] == FOUND
    assert due_of("note") == (None, [])


def test_what_a_set_asks_for_counts_instead_of_the_contractors_own_even_where_it_is_later() -> None:
    lenient = version(repair=[{"severity": "repair", "days": 60}, {"severity": "urgent", "days": 3}])
    assert due_of("repair", lenient) == (
        date(2026, 5, 1),
        [["by_set", {"days": 60, "found_on": "2026-03-02", "due_on": "2026-05-01", "set": "House rules"}]],
    )
    assert due_of("urgent", lenient)[0] == date(2026, 3, 5)
    assert due_of("unsafe", lenient)[0] == FOUND


def test_the_earliest_of_what_was_recorded_and_what_the_sets_ask_for_counts() -> None:
    slow, quick = (version(name, repair=[{"severity": "repair", "days": days}]) for name, days in (("A", 30), ("B", 5)))
    due, steps = due_of("repair", slow, quick, repair_by=date(2026, 3, 20))
    assert (due, steps[0][0], steps[0][1]["set"]) == (date(2026, 3, 7), "by_set", "B")
    assert due_of("repair", slow, quick, repair_by=date(2026, 3, 4)) == (date(2026, 3, 4), [["as_recorded", {}]])


@pytest.mark.parametrize(
    "repair",
    [None, {}, "soon", [None], [{"severity": "repair"}], [{"severity": "repair", "days": "5"}],
     [{"severity": "repair", "days": True}], [{"severity": "repair", "days": 5.0}]],
)  # fmt: skip
def test_what_a_set_says_that_can_not_be_counted_is_as_if_it_said_nothing(repair: Any) -> None:
    assert due_of("repair", version(repair=repair))[1][0][0] == "by_own_choice"


# ---- another test ----


def verdict(**changes: Any) -> Any:
    row = {"set_id": "house-rules", "outcome": "outside", "quantity": "co_ppm_air_free", "severity": "out_of_limit",
           "limit_id": "co"}  # fmt: skip
    return SimpleNamespace(**row | changes)


def started(clock: dict[str, Any], *said: Any, unsafe: bool = False) -> list[Any]:
    visit = Visit(id=uuid.uuid4(), local_date=FOUND, unsafe=unsafe, appliance_id=uuid.uuid4())
    return retests_started(visit, SimpleNamespace(said=list(said)), [version(retest=clock)])  # type: ignore[arg-type]  # verdicts alone


CO_CLOCK = {"type": "days_after_event", "event": "co_over_300", "days": 14}


def test_co_outside_a_limit_of_the_set_starts_its_clock() -> None:
    (retest,) = started(CO_CLOCK, verdict())
    assert (retest.due, retest.found_on, retest.event) == (date(2026, 3, 16), FOUND, "co_over_300")
    assert retest.limit_set.name == "House rules"
    assert retest.steps


@pytest.mark.parametrize(
    "changes", [{"set_id": "other"}, {"outcome": "within"}, {"outcome": "not_judged"}, {"quantity": "o2_pct"}]
)
def test_what_is_no_co_outside_a_limit_of_this_set_starts_nothing(changes: dict[str, str]) -> None:
    assert started(CO_CLOCK, verdict(**changes)) == []


def test_a_clock_of_named_limits_starts_by_those_alone() -> None:
    named = CO_CLOCK | {"limits": ["co-300"]}
    assert started(named, verdict()) == []
    assert len(started(named, verdict(), verdict(limit_id="co-300"))) == 1
    assert started(CO_CLOCK | {"limits": []}, verdict()) == []


def test_a_clock_of_what_is_declared_unsafe_starts_by_that_whatever_was_read() -> None:
    clock = CO_CLOCK | {"event": "unsafe"}
    assert len(started(clock, unsafe=True)) == 1
    assert started(clock, verdict()) == []


@pytest.mark.parametrize(
    "clock",
    [{}, {"type": "max_months", "months": 1}, CO_CLOCK | {"days": "14"}, {"type": "days_after_event", "days": 3}],
)
def test_a_clock_that_can_not_be_counted_by_never_starts(clock: dict[str, Any]) -> None:
    assert started(clock, verdict(), unsafe=True) == []


# ---- deliveries: what is asked for ----


def visit_of(day: date = FOUND, *, corrected_on: date = FOUND) -> Any:
    """A visit as stored; its place's clocks show UTC."""
    building = SimpleNamespace(today=lambda moment: moment.date())
    return SimpleNamespace(
        id=uuid.uuid4(), record_id=uuid.uuid4(), local_date=day, appliance=SimpleNamespace(building=building),
        outcome="tested",
    )  # fmt: skip


RULES = LimitSet(name="House rules")


def test_within_so_many_days_of_the_visit_and_as_many_of_its_correction() -> None:
    asked = asked_after(visit_of(), RULES, 28, "check")
    assert (asked.due, asked.again(date(2026, 5, 4))) == (date(2026, 3, 30), date(2026, 6, 1))
    assert [code for code, _figures in asked.steps] == ["days_after_check", "so_it_is_due"]
    assert asked_after(visit_of(), RULES, 28, "visit").why[0] == "days_after_visit"


@pytest.mark.parametrize(
    ("made_on", "due"), [(date(2026, 3, 2), date(2026, 3, 31)), (date(2026, 4, 1), date(2026, 4, 1))]
)
def test_before_somebody_moves_in_is_by_the_day_before_or_the_day_of_the_check(made_on: date, due: date) -> None:
    asked = asked_before(Tenancy(begins=date(2026, 4, 1)), RULES, visit_of(made_on))
    assert asked.due == due
    # A correction afterwards is due at once, one before it no earlier than the record itself.
    assert asked.again(date(2026, 5, 4)) == date(2026, 5, 4)
    assert asked.again(date(2026, 3, 3)) == due


def test_of_two_clocks_for_one_recipient_the_stricter_counts() -> None:
    clocks = [{"to": "tenant", "days_after_check": 28}, {"to": "tenant", "days_after_visit": 15},
              {"to": "landlord", "days_after_visit": 3}]  # fmt: skip
    one = version(delivery=clocks)
    asked = asked_by_sets(visit_of(), [one])
    assert {recipient: each.due for (_set, recipient), each in asked.items()} == {
        "tenant": date(2026, 3, 17), "landlord": date(2026, 3, 5)
    }  # fmt: skip
    untested = visit_of()
    untested.outcome = "not_tested"
    assert asked_by_sets(untested, [one]) == {}


# ---- deliveries: how they stand ----


def at(day: int) -> datetime:
    return datetime(2026, 3, day, 12, tzinfo=UTC)


def sending(record_id: uuid.UUID, day: int, *, subject: uuid.UUID | None = None, failed: str = "",
            corrected_on: date | None = None) -> Any:  # fmt: skip
    amended = corrected_on and SimpleNamespace(received_at=datetime.combine(corrected_on, at(1).timetz()))
    record = SimpleNamespace(subject=subject, amended_by=amended)
    return SimpleNamespace(
        record_id=record_id, sent_at=at(day), failed_at=at(day) if failed else None, failed_why=failed, record=record
    )


@pytest.fixture
def asked() -> Asked:
    return asked_after(visit_of(), RULES, 28, "check")


def stands(asked: Asked | None, *sendings: Any) -> dict[str, Any]:
    delivery = Delivery(visit_id=asked.visit.id if asked else uuid.uuid4())
    return as_it_stands(delivery, sendings, asked)


def test_what_nobody_sent_waits_until_its_day(asked: Asked) -> None:
    said = stands(asked)
    assert (said["sent_at"], said["due"], said["returned_why"], said["not_needed"]) == (None, date(2026, 3, 30), [], [])


def test_what_was_sent_is_done_by_the_newest_sending_that_stands(asked: Asked) -> None:
    record = asked.visit.record_id
    said = stands(asked, sending(record, 3), sending(record, 5), sending(record, 7, failed="came back"))
    assert (said["sent_at"], said["returned_why"]) == (at(5), [])
    # Its last day stays as it was.
    assert "due" not in said


def test_what_came_back_waits_again_with_the_reason(asked: Asked) -> None:
    said = stands(asked, sending(asked.visit.record_id, 3, failed="no such address"))
    assert (said["sent_at"], said["due"]) == (None, date(2026, 3, 30))
    assert said["returned_why"] == [["failed", {"said": "no such address"}]]


def test_a_correction_after_the_sending_is_to_be_sent_within_as_many_days_of_it(asked: Asked) -> None:
    older = sending(uuid.uuid4(), 3, subject=asked.visit.id, corrected_on=date(2026, 3, 10))
    said = stands(asked, older)
    assert (said["sent_at"], said["due"]) == (None, date(2026, 4, 7))
    assert said["returned_why"] == [["corrected", {"corrected_on": "2026-03-10"}]]
    assert [code for code, _figures in said["steps"]] == ["days_after_check", "so_again_by"]


def test_a_record_of_another_visit_is_not_the_newest(asked: Asked) -> None:
    said = stands(asked, sending(uuid.uuid4(), 3, subject=uuid.uuid4()))
    assert (said["sent_at"], said["due"]) == (None, date(2026, 3, 30))
    assert said["returned_why"] == [["not_the_newest", {"visit_on": "2026-03-02"}]]


def test_what_nobody_asks_for_any_more_is_not_needed_unless_somebody_has_it() -> None:
    assert stands(None) == {"sent_at": None, "returned_why": [], "not_needed": [["not_asked_for", {}]]}
    failed, held = sending(uuid.uuid4(), 3, failed="came back"), sending(uuid.uuid4(), 4)
    assert stands(None, failed)["not_needed"] == [["not_asked_for", {}]]
    assert stands(None, failed, held) == {"sent_at": at(4), "returned_why": [], "not_needed": []}


SENT = st.lists(st.tuples(st.sampled_from(["this", "older", "other"]), st.booleans()), max_size=4)


@given(SENT, st.booleans())
def test_however_it_came_about_it_stands_as_it_stands(sent: list[tuple[str, bool]], is_asked: bool) -> None:
    """Told anew from the same sendings nothing differs; done only by a sending that stands of the very record."""
    asked = asked_after(visit_of(), RULES, 28, "check")
    kinds = {"this": (asked.visit.record_id, asked.visit.id), "older": (uuid.uuid4(), asked.visit.id),
             "other": (uuid.uuid4(), uuid.uuid4())}  # fmt: skip
    sendings = [
        sending(kinds[kind][0], day, subject=kinds[kind][1], failed="came back" if failed else "",
                corrected_on=FOUND + timedelta(days=5))
        for day, (kind, failed) in enumerate(sent, start=3)
    ]  # fmt: skip
    delivery = Delivery(visit_id=asked.visit.id, due=asked.due, steps=asked.steps)
    values = as_it_stands(delivery, sendings, asked if is_asked else None)
    for name, value in values.items():
        setattr(delivery, name, value)
    assert not differs(delivery, as_it_stands(delivery, sendings, asked if is_asked else None))
    standing = [each for each in sendings if each.failed_at is None]
    if is_asked:
        assert (delivery.sent_at is not None) == any(each.record_id == asked.visit.record_id for each in standing)
        assert delivery.not_needed == [] and (delivery.sent_at is None or delivery.returned_why == [])
    else:
        assert bool(delivery.not_needed) == (standing == [])
