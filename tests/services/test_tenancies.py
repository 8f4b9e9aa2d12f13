"""Who moves in has the newest record that discharged the duty before that day, where the set says so."""

import copy
from datetime import date, timedelta
from typing import Any

import pytest

from fleet.errors import FleetError
from fleet.intake.visits import read_visit
from fleet.models import Analyser, Appliance, Building, Delivery, LimitSet, Person, Tenancy, User
from fleet.services.deliveries import send_delivery
from fleet.services.limits import attach_limit_set
from fleet.services.tenancies import begin_tenancy, change_tenancy
from fleet.services.visits import amend_visit
from tests.cast import NOON, make_appliance, make_building, store, visit_body

MOVES_IN = date(2026, 4, 1)


@pytest.fixture
def let(boiler: Appliance, manager: User) -> Appliance:
    """Under the landlord's rule of Great Britain."""
    attach(boiler.building, manager)
    return boiler


def attach(building: Building, actor: User) -> None:
    place = {"limit_set": LimitSet.objects.get(key="uk-gsiur-36"), "building": building, "since": date(2025, 1, 1)}
    attach_limit_set(values=place | {"why": "let"}, actor=actor, now=NOON)


def begins(building: Building, actor: User, day: date = MOVES_IN, **values: Any) -> tuple[Tenancy, int]:
    return begin_tenancy(
        values={"building": building, "begins": day, "source": "the agent"} | values, actor=actor, now=NOON
    )


def waiting() -> list[Delivery]:
    return list(Delivery.objects.filter(tenancy__isnull=False).order_by("due", "id"))


def test_the_newest_record_is_due_on_the_day_of_moving_in(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    store(visit_body(let, person, analyser, day="2025-03-03"), technician)
    newest = store(visit_body(let, person, analyser, day="2026-03-02"), technician)
    _tenancy, count = begins(let.building, manager)
    (delivery,) = waiting()
    assert (count, delivery.visit, delivery.recipient, delivery.due) == (1, newest, "new tenant", MOVES_IN)
    assert delivery.words == (
        f"By {delivery.limit_set.name}: before the tenancy that begins on 1 Apr 2026, the record of 2 Mar 2026"
    )
    assert Delivery.objects.filter(visit=newest, recipient="existing tenant").exists()


def test_a_check_that_did_not_discharge_the_duty_is_not_the_record_that_goes(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    complete = store(visit_body(let, person, analyser, day="2025-03-03"), technician)
    store(visit_body(let, person, analyser) | {"declared": {}}, technician)
    begins(let.building, manager)
    assert [each.visit for each in waiting()] == [complete]


def test_a_check_after_the_day_of_moving_in_was_not_there_before_it(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    first = store(visit_body(let, person, analyser, day="2026-01-05"), technician)
    begins(let.building, manager, date(2026, 2, 1))
    store(visit_body(let, person, analyser, day="2026-03-02"), technician)
    assert [each.visit for each in waiting()] == [first]


def test_where_no_check_has_been_made_it_waits_for_the_first_and_moves_to_a_newer_one(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    assert begins(let.building, manager)[1] == 0
    first = store(visit_body(let, person, analyser, day="2026-02-02"), technician)
    (delivery,) = waiting()
    assert (delivery.visit, delivery.due) == (first, MOVES_IN)
    newer = store(visit_body(let, person, analyser, day="2026-03-02"), technician)
    assert [(each.id, each.visit) for each in waiting()] == [(delivery.id, newer)]


def test_what_was_sent_stays_and_a_correction_to_no_check_takes_away_what_was_not(
    let: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    body = visit_body(let, person, analyser, day="2026-02-02")
    store(body, technician)
    begins(let.building, manager)
    begins(let.building, manager, date(2026, 5, 1))
    kept, _other = waiting()
    send_delivery(delivery=kept, version=kept.version, how="by hand", address="the new tenant", sent_at=NOON, proof="",
                  file=None, actor=manager, now=NOON)  # fmt: skip
    undone = body | {
        "outcome": "not tested",
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
    begins(let.building, manager)
    (delivery,) = waiting()
    send_delivery(delivery=delivery, version=delivery.version, how="by hand", address="the new tenant", sent_at=NOON,
                  proof="", file=None, actor=manager, now=NOON)  # fmt: skip
    for version, days in ((1, 3), (2, 40)):
        draft = read_visit(copy.deepcopy(body | {"note": f"mended {version}"}))
        amend_visit(draft=draft, reason="typing error", version=version, actor=manager, now=NOON + timedelta(days=days))
    delivery.refresh_from_db()
    assert (delivery.sent_at, delivery.due) == (None, MOVES_IN)
    assert delivery.returned_why == "The record was corrected on 2026-03-05 after it was sent."


def test_a_visit_taken_in_again_opens_no_second_one_and_leaves_the_tenant_s_alone(
    let: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    store(body, technician)
    begins(let.building, manager)
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
    assert begins(let.building, manager, appliance=second)[1] == 1
    assert [each.visit.appliance for each in waiting()] == [second]
    assert begins(let.building, manager)[1] == 2


def test_another_day_moves_what_waits_and_called_off_takes_it_away(
    let: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    store(body, technician)
    tenancy, _count = begins(let.building, manager)
    later = {"begins": date(2026, 4, 15)}
    tenancy = change_tenancy(tenancy=tenancy, version=tenancy.version, changes=later, now=NOON)
    assert [each.due for each in waiting()] == [date(2026, 4, 15)]
    change_tenancy(tenancy=tenancy, version=tenancy.version, changes={"called_off": "withdrew"}, now=NOON)
    assert waiting() == []


def test_where_no_set_asks_for_it_nothing_waits(
    boiler: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    store(body, technician)
    assert begins(boiler.building, manager)[1] == 0


def test_an_appliance_elsewhere_and_the_same_day_twice_are_refused(
    let: Appliance, client_of_ours: Any, manager: User
) -> None:
    elsewhere = make_appliance(make_building(client_of_ours, "Mill"), None)
    with pytest.raises(FleetError) as refused:
        begins(let.building, manager, appliance=elsewhere)
    assert "appliance" in refused.value.details["errors"]
    begins(let.building, manager)
    with pytest.raises(FleetError):
        begins(let.building, manager)
    assert Tenancy.objects.count() == 1
