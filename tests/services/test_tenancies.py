"""Who moves in has the newest record that counted the required check before that day, where the set says so."""

import copy
import uuid
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.db.models import F
from django.test.utils import CaptureQueriesContext

from fleet.assess.appliances import with_places
from fleet.errors import FleetError
from fleet.intake.visits import read_visit
from fleet.models import (
    Analyser,
    Appliance,
    Building,
    Client,
    Delivery,
    LimitSet,
    LimitSetAssignment,
    Person,
    RequiredCheck,
    Tenancy,
    User,
    Visit,
    VisitCheck,
)
from fleet.presentation.due_dates import date_words
from fleet.queries.follow_ups import open_deliveries, visible_deliveries, without_record
from fleet.services.deliveries import fail_delivery, send_delivery
from fleet.services.limit_sets import assign_limit_set
from fleet.services.required_checks import open_required_checks
from fleet.services.revisits import refresh_appliance, refresh_everybody
from fleet.services.tenancies import begin_tenancy, change_tenancy, follow_appliances
from fleet.services.visits import amend_visit
from tests.cast import NOON, make_appliance, make_building, make_user, store, visit_body
from tests.intake.refused import said_of

CAME_BACK = [["failed", {"said": "came back"}]]

MOVES_IN, DAY_BEFORE = date(2026, 4, 1), date(2026, 3, 31)


@pytest.fixture
def let(boiler: Appliance, manager: User) -> Appliance:
    """Under the landlord's rule of Great Britain."""
    attach(boiler.building, manager)
    return boiler


def attach(building: Building, actor: User) -> None:
    place = {"limit_set": LimitSet.objects.get(key="uk-gsiur-36"), "building": building, "since": date(2025, 1, 1)}
    assign_limit_set(values=place | {"why": "let"}, actor=actor, now=NOON)


def begins(building: Building, day: date = MOVES_IN, **values: Any) -> tuple[Tenancy, int]:
    return begin_tenancy(values={"building": building, "begins": day, "source": "the agent"} | values, now=NOON)


def waiting() -> list[Delivery]:
    return list(Delivery.objects.filter(tenancy__isnull=False).order_by("due", "id"))


def test_the_newest_record_is_due_the_day_before_somebody_moves_in(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    store(visit_body(let, person, analyser, day="2025-03-03"), technician)
    newest = store(visit_body(let, person, analyser, day="2026-03-02"), technician)
    _tenancy, count = begins(let.building)
    (delivery,) = waiting()
    assert (count, delivery.visit, delivery.recipient, delivery.due) == (1, newest, "new tenant", DAY_BEFORE)
    assert date_words(delivery.steps) == (
        f"By {delivery.limit_set.name}: before the tenancy that begins on 1 April 2026, the record of 2 March 2026, "
        "so by 31 March 2026."
    )
    assert Delivery.objects.filter(visit=newest, recipient="existing tenant").exists()


def test_a_check_that_did_not_count_the_required_check_is_not_the_record_that_goes(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    complete = store(visit_body(let, person, analyser, day="2025-03-03"), technician)
    store(visit_body(let, person, analyser) | {"inspection_points": {}}, technician)
    begins(let.building)
    assert [each.visit for each in waiting()] == [complete]


def test_a_check_after_the_day_of_moving_in_was_not_there_before_it(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    first = store(visit_body(let, person, analyser, day="2026-01-05"), technician)
    begins(let.building, date(2026, 2, 1))
    store(visit_body(let, person, analyser, day="2026-03-02"), technician)
    assert [each.visit for each in waiting()] == [first]


def test_where_no_check_has_been_made_it_waits_for_the_first_and_moves_to_a_newer_one(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    assert begins(let.building)[1] == 0
    first = store(visit_body(let, person, analyser, day="2026-02-02"), technician)
    (delivery,) = waiting()
    assert (delivery.visit, delivery.due) == (first, DAY_BEFORE)
    newer = store(visit_body(let, person, analyser, day="2026-03-02"), technician)
    assert [(each.id, each.visit) for each in waiting()] == [(delivery.id, newer)]


def test_what_was_sent_stays_and_a_correction_to_no_check_takes_away_what_was_not(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    body = visit_body(let, person, analyser, day="2026-02-02")
    store(body, technician)
    begins(let.building)
    begins(let.building, date(2026, 5, 1))
    kept, _other = waiting()
    send_delivery(delivery=kept, version=kept.version, how="by_hand", address="the new tenant", sent_at=NOON, proof="",
                  file=None, actor=manager, now=NOON)  # fmt: skip
    undone = body | {
        "outcome": "not_tested",
        "outcome_reason": "wrong one",
        "readings": [],
        "work": [],
        "left_as_found": False,
    }
    draft = read_visit(copy.deepcopy(undone))
    amend_visit(draft=draft, reason="mistaken", version=1, actor=manager, now=NOON + timedelta(hours=1))
    assert [each.id for each in waiting()] == [kept.id]


def test_a_record_that_is_corrected_after_it_was_sent_goes_again(
    let: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    store(body, technician)
    begins(let.building)
    (delivery,) = waiting()
    send_delivery(delivery=delivery, version=delivery.version, how="by_hand", address="the new tenant", sent_at=NOON,
                  proof="", file=None, actor=manager, now=NOON)  # fmt: skip
    for version, days in ((1, 3), (2, 40)):
        draft = read_visit(copy.deepcopy(body | {"note": f"repaired {version}"}))
        amend_visit(draft=draft, reason="typing error", version=version, actor=manager, now=NOON + timedelta(days=days))
    delivery.refresh_from_db()
    assert (delivery.sent_at, delivery.due) == (None, DAY_BEFORE)
    assert date_words(delivery.returned_why) == "The record was corrected on 5 March 2026 after it was sent."


def test_a_visit_taken_in_again_opens_no_second_one_and_leaves_the_tenant_s_alone(
    let: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    store(body, technician)
    begins(let.building)
    before = list(Delivery.objects.order_by("id").values_list("id", flat=True))
    store(body, technician)
    assert list(Delivery.objects.order_by("id").values_list("id", flat=True)) == before


def test_of_one_appliance_only_its_record_and_of_the_building_one_each(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    second = make_appliance(let.building, let.sheet, "Boiler 2")
    attach(let.building, manager)
    for each in (let, second):
        store(visit_body(each, person, analyser), technician)
    assert begins(let.building, appliance=second)[1] == 1
    assert [each.visit.appliance for each in waiting()] == [second]
    assert begins(let.building)[1] == 2


def test_another_day_moves_what_waits_and_called_off_takes_it_away(
    let: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    store(body, technician)
    tenancy, _count = begins(let.building)
    later = {"begins": date(2026, 4, 15)}
    tenancy = change_tenancy(tenancy=tenancy, version=tenancy.version, changes=later, now=NOON)
    assert [each.due for each in waiting()] == [date(2026, 4, 14)]
    change_tenancy(tenancy=tenancy, version=tenancy.version, changes={"called_off": "withdrew"}, now=NOON)
    assert waiting() == []


def test_where_no_set_asks_for_it_nothing_waits(
    boiler: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    store(body, technician)
    assert begins(boiler.building)[1] == 0


def test_an_appliance_elsewhere_and_the_same_day_twice_are_refused(
    let: Appliance, client_of_ours: Any, manager: User
) -> None:
    elsewhere = make_appliance(make_building(client_of_ours, "Mill"), None)
    with pytest.raises(FleetError) as refused:
        begins(let.building, appliance=elsewhere)
    assert "appliance" in said_of(refused.value)
    begins(let.building)
    with pytest.raises(FleetError):
        begins(let.building)
    assert Tenancy.objects.count() == 1


# ---- what a correction of the visit moves ----


def corrected(body: dict[str, Any], actor: User, version: int = 1, days: int = 1) -> Visit:
    draft = read_visit(copy.deepcopy(body))
    return amend_visit(draft=draft, reason="wrong", version=version, actor=actor, now=NOON + timedelta(days=days))


def sent(delivery: Delivery, actor: User) -> Delivery:
    delivery.refresh_from_db()
    return send_delivery(delivery=delivery, version=delivery.version, how="post", address="the new tenant",
                         sent_at=NOON, proof="", file=None, actor=actor, now=NOON)  # fmt: skip


def failed(delivery: Delivery, actor: User) -> Delivery:
    delivery.refresh_from_db()
    return fail_delivery(delivery=delivery, version=delivery.version, why="came back", actor=actor, now=NOON)


def moved_to(appliance: Appliance, body: dict[str, Any]) -> dict[str, Any]:
    there = {"id": str(uuid.uuid4()), "building": str(appliance.building_id)}
    return body | {"appliance": str(appliance.id), "attendance": body["attendance"] | there}


@pytest.fixture
def elsewhere(let: Appliance) -> Appliance:
    """Another client's, under no set."""
    return make_appliance(make_building(Client.objects.create(name="Other"), "Mill"), let.sheet, "Boiler X", serial="9")


@pytest.mark.parametrize("was_sent", [False, True])
def test_a_visit_that_is_moved_to_another_client_leaves_the_tenant_the_record_before_it(
    let: Appliance, elsewhere: Appliance, person: Person, analyser: Analyser, technician: User, manager: User,
    was_sent: bool,
) -> None:  # fmt: skip
    own = store(visit_body(let, person, analyser, day="2026-01-05"), technician)
    body = visit_body(let, person, analyser)
    store(body, technician)
    begins(let.building)
    (delivery,) = waiting()
    if was_sent:
        sent(delivery, manager)
    corrected(moved_to(elsewhere, body), manager)
    assert [each.visit for each in waiting() if each.is_open] == [own]
    assert [each.id for each in waiting() if not each.is_open] == ([delivery.id] if was_sent else [])


def test_what_went_to_the_tenant_before_the_visit_was_moved_is_not_the_other_client_s_to_see(
    let: Appliance, elsewhere: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    theirs = make_user("theirs", "auditor", sees_all_clients=False)
    elsewhere.building.client.viewers.add(theirs)
    store(body, technician)
    begins(let.building)
    (delivery,) = waiting()
    sent(delivery, manager)
    corrected(moved_to(elsewhere, body), manager)
    assert delivery in visible_deliveries(manager)
    assert not visible_deliveries(theirs).filter(tenancy__isnull=False).exists()


def test_a_visit_that_is_moved_to_the_other_boiler_of_the_house_is_that_one_s_record(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    second = make_appliance(let.building, let.sheet, "Boiler 2", serial="2")
    attach(let.building, manager)
    own = store(visit_body(let, person, analyser, day="2026-01-05"), technician)
    other = store(visit_body(second, person, analyser, day="2026-01-06"), technician)
    body = visit_body(let, person, analyser)
    store(body, technician)
    begins(let.building)
    for each in waiting():
        sent(each, manager)
    moved = corrected(moved_to(second, body), manager)
    assert {each.visit for each in waiting() if each.is_open} == {own, moved}
    assert {each.visit for each in waiting() if not each.is_open} == {other}


def test_a_visit_that_was_made_only_after_they_moved_in_is_not_the_record(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    own = store(visit_body(let, person, analyser, day="2026-01-05"), technician)
    body = visit_body(let, person, analyser, day="2026-02-02")
    store(body, technician)
    begins(let.building, date(2026, 2, 10))
    later = visit_body(let, person, analyser, day="2026-02-20")
    corrected(later | {"id": body["id"], "attendance": later["attendance"] | {"id": body["attendance"]["id"]}}, manager)
    assert [each.visit for each in waiting()] == [own]


# ---- the set, or what the record lacked, comes later ----


def test_a_set_that_is_attached_after_the_tenancy_was_recorded_opens_it_with_the_next_refresh(
    boiler: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    visit = store(body, technician)
    begins(boiler.building)
    attach(boiler.building, manager)
    for _again in range(2):
        refresh_everybody(now=NOON)
        assert [(each.visit, each.due) for each in waiting()] == [(visit, DAY_BEFORE)]


def test_what_the_register_answers_only_later_opens_it_with_the_next_refresh(
    let: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    address = let.building.address
    Building.objects.update(address="")
    store(body, technician)
    begins(let.building)
    assert [each.limit_set.key for each in without_record(manager, MOVES_IN)] == ["uk-gsiur-36"]
    assert without_record(manager, MOVES_IN + timedelta(days=1)) == []
    Building.objects.update(address=address)
    refresh_appliance(appliance=Appliance.objects.get(), now=NOON)
    assert [each.due for each in waiting()] == [DAY_BEFORE]
    assert without_record(manager, MOVES_IN) == []


def test_one_that_has_begun_is_left_alone_by_a_refresh(
    boiler: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    store(body, technician)
    begins(boiler.building, NOON.date())
    begins(boiler.building, NOON.date() - timedelta(days=1))
    attach(boiler.building, manager)
    refresh_everybody(now=NOON)
    assert [each.tenancy.begins for each in waiting() if each.tenancy] == [NOON.date()]


def questions(work: Callable[[], object]) -> int:
    with CaptureQueriesContext(connection) as made:
        work()
    return len(made)


def test_however_many_appliances_it_asks_the_same_number_of_questions(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    begun, followed = [], []
    for more in (1, 4):
        for number in range(more):
            other = make_appliance(let.building, let.sheet, f"Boiler {more}.{number}", serial=f"{more}.{number}")
            store(visit_body(other, person, analyser), technician)
        open_required_checks(assignment=LimitSetAssignment.objects.get(), actor=manager, now=NOON)
        begun.append(questions(lambda more=more: begins(let.building, MOVES_IN + timedelta(days=more))))
        every = with_places(Appliance.objects.all())
        follow_appliances(appliances=every, now=NOON)  # what the first tenancy lacks of the new ones
        followed.append(questions(lambda every=every: follow_appliances(appliances=every, now=NOON)))
    assert len(waiting()) == 5 + 5  # before each of the two days one of each, also of those that came later
    assert (begun[0], followed[0]) == (begun[1], followed[1])
    Tenancy.objects.update(begins=F("begins") - timedelta(days=60))
    assert questions(lambda: follow_appliances(appliances=every, now=NOON)) == 1


# ---- by when, and what was tried ----


def test_what_failed_follows_an_earlier_day_a_newer_record_and_the_call_off(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    store(visit_body(let, person, analyser, day="2026-02-02"), technician)
    tenancy, _count = begins(let.building)
    (delivery,) = waiting()
    failed(sent(delivery, manager), manager)
    earlier = {"begins": date(2026, 3, 10)}
    tenancy = change_tenancy(tenancy=tenancy, version=tenancy.version, changes=earlier, now=NOON)
    newer = store(visit_body(let, person, analyser), technician)
    delivery.refresh_from_db()
    assert (delivery.visit, delivery.due, delivery.returned_why) == (newer, date(2026, 3, 9), CAME_BACK)
    off = {"called_off": "withdrew"}
    tenancy = change_tenancy(tenancy=tenancy, version=tenancy.version, changes=off, now=NOON)
    delivery.refresh_from_db()
    assert (delivery.is_open, delivery.is_overdue(date(2026, 5, 1))) == (False, False)
    assert date_words(delivery.not_needed) == "The tenancy was called off: withdrew."
    assert not open_deliveries(manager).filter(tenancy__isnull=False).exists()
    change_tenancy(tenancy=tenancy, version=tenancy.version, changes={"called_off": ""}, now=NOON)
    delivery.refresh_from_db()
    assert (delivery.is_open, delivery.returned_why) == (True, CAME_BACK)


def test_a_newer_check_before_they_move_in_is_owed_though_an_older_one_was_sent(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    store(visit_body(let, person, analyser, day="2026-02-02"), technician)
    begins(let.building)
    (delivery,) = waiting()
    sent(delivery, manager)
    newer = store(visit_body(let, person, analyser), technician)
    delivery.refresh_from_db()
    assert (delivery.visit, delivery.sent_at, delivery.due) == (newer, None, DAY_BEFORE)
    assert date_words(delivery.returned_why) == (
        "What was sent is not the newest record that counts, which is that of 2 March 2026."
    )
    sent(delivery, manager)
    refresh_everybody(now=NOON)
    assert [each.sent_at for each in waiting()] == [NOON]


def test_the_newer_record_that_they_have_stands_where_the_register_would_choose_an_older_one_now(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    store(visit_body(let, person, analyser, day="2026-02-02"), technician)
    newer = store(visit_body(let, person, analyser), technician)
    begins(let.building)
    (delivery,) = waiting()
    sent(delivery, manager)
    VisitCheck.objects.filter(visit=newer).update(counts=False)
    refresh_everybody(now=NOON)
    assert [(each.visit, each.sent_at) for each in waiting()] == [(newer, NOON)]


def test_a_check_on_the_very_day_is_due_on_it_and_by_the_end_of_the_day_before_all_else_is_late(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    begins(let.building, NOON.date())
    store(visit_body(let, person, analyser, day="2026-02-02"), technician)
    (delivery,) = waiting()
    assert (delivery.is_overdue(date(2026, 3, 1)), delivery.is_overdue(NOON.date())) == (False, True)
    store(visit_body(let, person, analyser), technician)
    assert [each.due for each in waiting()] == [NOON.date()]


def test_a_required_check_that_ended_after_they_moved_in_takes_nothing_away(
    let: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    store(body, technician)
    begins(let.building, NOON.date())
    RequiredCheck.objects.update(until=NOON.date() + timedelta(days=3))
    corrected(body | {"note": "repaired"}, manager, days=7)
    assert len(waiting()) == 1
    RequiredCheck.objects.update(until=NOON.date() - timedelta(days=1))
    corrected(body | {"note": "again"}, manager, version=2, days=7)
    assert waiting() == []
