"""Deliveries: opened once by the sets of a visit, sent, failed, and sent again after a correction."""

import copy
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from fleet.errors import Conflict, FleetError
from fleet.intake.visits import read_visit
from fleet.models import Appliance, Delivery, LimitSet, User, Visit
from fleet.presentation.due_dates import date_words
from fleet.services.deliveries import fail_delivery, send_delivery
from fleet.services.files import store_file
from fleet.services.limit_sets import assign_limit_set
from fleet.services.projections import rebuild
from fleet.services.tenancies import begin_tenancy
from fleet.services.visits import amend_visit, record_visit
from tests import pictures
from tests.cast import NOON, store
from tests.intake.refused import said_of


def came_back(said: str) -> list[Any]:
    return [["failed", {"said": said}]]


def under(appliance: Appliance, key: str, actor: User) -> LimitSet:
    limit_set = LimitSet.objects.get(key=key)
    place = {"limit_set": limit_set, "appliance": appliance, "since": date(2025, 1, 1), "why": "local law"}
    assign_limit_set(values=place, actor=actor, now=NOON)
    return limit_set


def corrected(body: dict[str, Any], actor: User, version: int = 1, **changes: Any) -> Visit:
    draft = read_visit(copy.deepcopy(body | changes))
    return amend_visit(draft=draft, reason="typing error", version=version, actor=actor, now=NOON + timedelta(days=3))


def sent(delivery: Delivery, actor: User, **changes: Any) -> Delivery:
    given = {"how": "email", "address": "tenant@example.invalid", "sent_at": NOON, "proof": "message id 1"}
    values: dict[str, Any] = given | {"file": None, "version": delivery.version} | changes
    return send_delivery(delivery=delivery, actor=actor, now=NOON + timedelta(days=1), **values)


@pytest.fixture
def delivery(boiler: Appliance, body: dict[str, Any], manager: User, technician: User) -> Delivery:
    under(boiler, "uk-gsiur-36", manager)
    store(body, technician)
    return Delivery.objects.get()


def test_a_set_says_who_receives_the_record_and_by_when(delivery: Delivery) -> None:
    # 28 days after the check of 2 March 2026: Gas Safety (Installation and Use) Regulations 1998, reg. 36(6)(a).
    assert (delivery.recipient, delivery.due) == ("existing tenant", date(2026, 3, 30))
    assert date_words(delivery.steps).endswith("28 days after the check on 2 March 2026 is 30 March 2026.")


def test_fifteen_days_after_the_visit_by_another_set(
    boiler: Appliance, body: dict[str, Any], manager: User, technician: User
) -> None:
    # Code de l'environnement, R. 224-41-8: within fifteen days of the visit.
    under(boiler, "fr-4-400kw", manager)
    store(body, technician)
    delivery = Delivery.objects.get()
    assert (delivery.recipient, delivery.due) == ("client", date(2026, 3, 17))


def test_the_same_visit_again_and_a_rebuild_open_no_second_one(
    delivery: Delivery, body: dict[str, Any], technician: User
) -> None:
    store(body, technician)
    record_visit(draft=read_visit(copy.deepcopy(body)), actor=technician, now=NOON + timedelta(days=1))
    rebuild()
    assert Delivery.objects.get() == delivery
    assert Delivery.objects.get().version == delivery.version


def test_what_was_not_tested_has_no_record_to_deliver(
    boiler: Appliance, body: dict[str, Any], manager: User, technician: User
) -> None:
    under(boiler, "uk-gsiur-36", manager)
    store(body | {"outcome": "not_tested", "outcome_reason": "no gas", "readings": [], "work": []}, technician)
    assert not Delivery.objects.exists()


def test_sending_says_how_to_whom_and_what_proves_it(delivery: Delivery, dispatcher: User) -> None:
    sent(delivery, dispatcher)
    sending = delivery.sendings.get()
    assert (delivery.sent_at, sending.sent_by, sending.proof) == (NOON, dispatcher, "message id 1")
    assert sending.record == delivery.visit.record
    assert not delivery.is_overdue(date(2026, 4, 1))


def test_a_failed_one_returns_to_the_office_with_its_last_day_and_is_sent_again(
    delivery: Delivery, dispatcher: User
) -> None:
    sent(delivery, dispatcher)
    later = NOON + timedelta(days=2)
    fail_delivery(delivery=delivery, version=delivery.version, why="unknown address", actor=dispatcher, now=later)
    assert (delivery.sent_at, delivery.returned_why, delivery.due) == (
        None,
        came_back("unknown address"),
        date(2026, 3, 30),
    )
    assert delivery.is_overdue(date(2026, 3, 31))
    assert not delivery.is_overdue(date(2026, 3, 30))
    sent(delivery, dispatcher, how="post", address="1 Test Lane")
    failed, again = delivery.sendings.all()
    assert {failed.how: failed.failed_why, again.how: again.failed_why} == {"email": "unknown address", "post": ""}


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"how": "pigeon"}, "how"),
        ({"address": " "}, "address"),
        ({"sent_at": NOON + timedelta(days=2)}, "sent_at"),
        ({"sent_at": NOON - timedelta(days=2)}, "sent_at"),
    ],
)
def test_a_sending_that_cannot_be_is_refused(
    delivery: Delivery, dispatcher: User, changes: dict[str, Any], field: str
) -> None:
    with pytest.raises(FleetError) as refused:
        sent(delivery, dispatcher, **changes)
    assert list(said_of(refused.value)) == [field]  # type: ignore[call-overload]  # a mapping
    assert not delivery.sendings.exists()


def test_proof_is_a_file_of_the_same_visit(
    delivery: Delivery, dispatcher: User, technician: User, body: dict[str, Any], settings: Any, tmp_path: Any
) -> None:
    settings.MEDIA_ROOT = tmp_path
    other = store(body | {"id": "0198c2a4-7c00-7d3e-8f10-2b5a6c7d8e9f"}, technician)
    kept = {"name": "receipt", "media_type": "image/png", "data": pictures.png(), "what": "proof_of_delivery"}
    wrong, _made = store_file(visit=other, actor=technician, now=NOON, **kept)
    right, _made = store_file(visit=delivery.visit, actor=technician, now=NOON, **kept)
    with pytest.raises(FleetError):
        sent(delivery, dispatcher, file=wrong)
    sent(delivery, dispatcher, file=right)
    assert delivery.sendings.get().file == right


def test_two_at_once_send_it_once(delivery: Delivery, dispatcher: User) -> None:
    with pytest.raises(Conflict) as stale:
        sent(delivery, dispatcher, version=7)
    assert stale.value.code == "changed_meanwhile"
    sent(delivery, dispatcher)
    with pytest.raises(Conflict) as twice:
        sent(delivery, dispatcher)
    assert twice.value.code == "already_sent"


def test_a_correction_moves_what_nobody_has_sent(delivery: Delivery, body: dict[str, Any], manager: User) -> None:
    moved = copy.deepcopy(body)
    for each in moved["readings"]:
        each["taken_at"] = each["taken_at"].replace("2026-03-02", "2026-03-01")
    corrected(moved, manager)
    delivery.refresh_from_db()
    assert delivery.due == date(2026, 3, 29)


def test_a_correction_after_it_was_sent_sends_it_again(
    delivery: Delivery, body: dict[str, Any], manager: User, dispatcher: User
) -> None:
    sent(delivery, dispatcher)
    corrected(body, manager, note="the other boiler house")
    delivery.refresh_from_db()
    assert (delivery.sent_at, delivery.due) == (None, date(2026, 4, 2))
    assert date_words(delivery.returned_why) == "The record was corrected on 5 March 2026 after it was sent."
    corrected(body, manager, version=2, note="again")
    delivery.refresh_from_db()
    assert delivery.due == date(2026, 4, 2)


# ---- a sending that was recorded only after a correction, which came in on 5 March ----


def late(delivery: Delivery, actor: User, sent_at: datetime) -> Delivery:
    """Recorded on 7 March: how it stood is read again, as the office would."""
    delivery.refresh_from_db()
    return send_delivery(
        delivery=delivery, version=delivery.version, how="post", address="1 Test Lane", sent_at=sent_at, proof="",
        file=None, actor=actor, now=NOON + timedelta(days=5),
    )  # fmt: skip


def test_what_went_before_the_correction_is_the_older_record_and_the_corrected_one_is_still_to_be_sent(
    delivery: Delivery, body: dict[str, Any], manager: User, dispatcher: User
) -> None:
    first = delivery.visit.record
    visit = corrected(body, manager, note="the other boiler house")
    sent_late = late(delivery, dispatcher, NOON + timedelta(days=1))
    sending = sent_late.sendings.get()
    assert (sending.record, sending.sent_at) == (first, NOON + timedelta(days=1))
    assert (sent_late.sent_at, sent_late.due) == (None, date(2026, 4, 2))
    assert date_words(sent_late.returned_why) == "The record was corrected on 5 March 2026 after it was sent."
    assert date_words(sent_late.steps).endswith("corrected on 5 March 2026, so again by 2 April 2026.")
    again = late(delivery, dispatcher, NOON + timedelta(days=4))
    assert (again.sent_at, again.returned_why) == (NOON + timedelta(days=4), [])
    assert again.sendings.last().record == visit.record


def test_recorded_late_or_in_time_it_stands_the_same_in_the_end(
    delivery: Delivery, body: dict[str, Any], manager: User, dispatcher: User
) -> None:
    went = NOON + timedelta(hours=3)
    sent(delivery, dispatcher, sent_at=went)
    corrected(body, manager, note="the other boiler house")
    corrected(body, manager, version=2, note="again")
    delivery.refresh_from_db()
    in_time = (delivery.sent_at, delivery.due, delivery.steps, delivery.returned_why)
    delivery.sendings.all().delete()
    Delivery.objects.update(due=date(2026, 3, 30), steps=[["failed", {"said": "as opened"}]], returned_why=[])
    delivery = late(delivery, dispatcher, went)
    assert (delivery.sent_at, delivery.due, delivery.steps, delivery.returned_why) == in_time


@pytest.mark.parametrize(("seconds", "is_done"), [(-1, False), (0, True), (1, True)])
def test_the_moment_of_the_correction_decides(
    delivery: Delivery, body: dict[str, Any], manager: User, dispatcher: User, seconds: int, is_done: bool
) -> None:
    visit = corrected(body, manager, note="the other boiler house")
    made = late(delivery, dispatcher, visit.record.received_at + timedelta(seconds=seconds))
    assert (made.sent_at is not None) == is_done
    assert (made.sendings.get().record == visit.record) == is_done


def test_a_copy_handed_over_before_the_record_had_come_in_is_of_the_first_record(
    delivery: Delivery, dispatcher: User
) -> None:
    handed = NOON - timedelta(hours=1)
    made = sent(delivery, dispatcher, how="by_hand", sent_at=handed)
    assert (made.sent_at, made.sendings.get().record) == (handed, delivery.visit.record)


def test_nothing_is_asked_for_anew_where_the_correction_says_that_nothing_was_tested(
    delivery: Delivery, body: dict[str, Any], manager: User, dispatcher: User
) -> None:
    sent(delivery, dispatcher)
    fail_delivery(delivery=delivery, version=delivery.version, why="?", actor=dispatcher, now=NOON + timedelta(days=2))
    corrected(body, manager, outcome="not_tested", outcome_reason="no gas", readings=[], work=[])
    made = late(delivery, dispatcher, NOON + timedelta(days=1))
    assert made.sent_at == NOON + timedelta(days=1)


@pytest.mark.parametrize(
    ("begins", "due"),
    [(date(2026, 4, 1), date(2026, 3, 31)), (date(2026, 3, 3), date(2026, 3, 5))],
    ids=["before that day still", "at once where it has come"],
)
@pytest.mark.parametrize("recorded", ["in time", "late"])
def test_who_moves_in_is_sent_the_corrected_record_too(
    delivery: Delivery, body: dict[str, Any], manager: User, dispatcher: User, begins: date, due: date, recorded: str
) -> None:
    building = delivery.visit.appliance.building
    begin_tenancy(values={"building": building, "begins": begins, "source": "the agent"}, now=NOON)
    theirs = Delivery.objects.get(tenancy__isnull=False)
    if recorded == "in time":
        sent(theirs, dispatcher)
    visit = corrected(body, manager, note="the other boiler house")
    if recorded == "late":
        late(theirs, dispatcher, NOON)
    theirs.refresh_from_db()
    assert (theirs.sent_at, theirs.due) == (None, due)
    assert date_words(theirs.returned_why) == "The record was corrected on 5 March 2026 after it was sent."
    again = late(theirs, dispatcher, NOON + timedelta(days=4))
    assert again.sent_at and again.sendings.last().record == visit.record


def test_a_correction_to_not_tested_withdraws_what_nobody_has_sent(
    delivery: Delivery, body: dict[str, Any], manager: User
) -> None:
    corrected(body, manager, outcome="not_tested", outcome_reason="no gas", readings=[], work=[])
    assert not Delivery.objects.exists()


# ---- a copy that never arrived moves no last day ----


def test_a_sending_that_was_followed_by_a_correction_can_still_be_said_to_have_failed(
    delivery: Delivery, body: dict[str, Any], manager: User, dispatcher: User
) -> None:
    sent(delivery, dispatcher)
    corrected(body, manager, note="the other boiler house")
    delivery.refresh_from_db()
    assert delivery.due == date(2026, 4, 2)
    again = NOON + timedelta(days=4)
    fail_delivery(delivery=delivery, version=delivery.version, why="unknown", actor=dispatcher, now=again)
    assert (delivery.sent_at, delivery.returned_why, delivery.due) == (None, came_back("unknown"), date(2026, 3, 30))
    assert date_words(delivery.steps).endswith("28 days after the check on 2 March 2026 is 30 March 2026.")
    with pytest.raises(Conflict) as twice:
        fail_delivery(delivery=delivery, version=delivery.version, why="again", actor=dispatcher, now=again)
    assert twice.value.code == "not_sent"


def test_where_an_older_copy_stands_a_failed_one_of_the_corrected_record_is_due_as_it_was(
    delivery: Delivery, body: dict[str, Any], manager: User, dispatcher: User
) -> None:
    sent(delivery, dispatcher)
    corrected(body, manager, note="the other boiler house")
    late(delivery, dispatcher, NOON + timedelta(days=4))
    fail_delivery(
        delivery=delivery, version=delivery.version, why="lost", actor=dispatcher, now=NOON + timedelta(days=6)
    )
    assert (delivery.sent_at, delivery.returned_why, delivery.due) == (None, came_back("lost"), date(2026, 4, 2))


def test_the_day_of_what_failed_follows_the_corrected_day_of_the_visit(
    delivery: Delivery, body: dict[str, Any], manager: User, dispatcher: User
) -> None:
    sent(delivery, dispatcher)
    later = NOON + timedelta(days=1)
    fail_delivery(delivery=delivery, version=delivery.version, why="unknown", actor=dispatcher, now=later)
    moved = copy.deepcopy(body)
    for each in moved["readings"]:
        each["taken_at"] = each["taken_at"].replace("2026-03-02", "2026-03-01")
    corrected(moved, manager)
    delivery.refresh_from_db()
    assert (delivery.due, delivery.returned_why) == (date(2026, 3, 29), came_back("unknown"))


def test_what_failed_and_is_asked_for_no_more_waits_for_nobody_until_it_is_asked_for_again(
    delivery: Delivery, body: dict[str, Any], manager: User, dispatcher: User
) -> None:
    sent(delivery, dispatcher)
    later = NOON + timedelta(days=1)
    fail_delivery(delivery=delivery, version=delivery.version, why="unknown", actor=dispatcher, now=later)
    corrected(body, manager, outcome="not_tested", outcome_reason="no gas", readings=[], work=[])
    delivery.refresh_from_db()
    assert (delivery.is_open, delivery.not_needed) == (False, [["not_asked_for", {}]])
    corrected(body, manager, version=2)
    delivery.refresh_from_db()
    assert (delivery.is_open, delivery.due) == (True, date(2026, 3, 30))
