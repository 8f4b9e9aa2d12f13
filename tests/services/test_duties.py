"""Duties: what a set's rule or a contract asks, when it next falls due, and in which words."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.errors import FleetError
from fleet.models import Analyser, Appliance, Duty, LimitSet, Person, User
from fleet.models.register import new_id
from fleet.services.duties import add_duty, recompute_duty
from fleet.services.limits import add_limit_set_version, attach_limit_set
from fleet.services.revisits import propose_revisit, refresh_appliance
from tests.cast import NOON, make_appliance, store, visit_body


def attach(key: str, actor: User, since: date = date(2025, 1, 1), **place: Any) -> None:
    values = {"limit_set": LimitSet.objects.get(key=key), "since": since, "why": "decided for a test"} | place
    attach_limit_set(values=values, actor=actor, now=NOON)


def test_attaching_a_set_with_an_interval_opens_its_duty(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    store(body, technician)
    attach("fr-4-400kw", manager, building=boiler.building)
    duty = Duty.objects.get()
    assert duty.due == date(2027, 12, 31)
    assert duty.last_done == date(2026, 3, 2)
    assert "2027" in duty.words


def test_the_anniversary_is_kept_inside_its_window(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    """Published worked example on SI 2018/139, moved to 2026: a check in the last two months keeps the date."""
    store(visit_body(boiler, person, analyser, day="2025-04-10"), technician)
    store(visit_body(boiler, person, analyser, day="2026-03-05"), technician)
    attach("uk-gsiur-36", manager, appliance=boiler)
    refresh_appliance(appliance=boiler, now=NOON + timedelta(days=5))
    duty = Duty.objects.get()
    assert (duty.due, duty.earliest_keep) == (date(2027, 4, 10), date(2027, 2, 11))


def test_a_set_without_an_interval_opens_no_duty(boiler: Appliance, manager: User) -> None:
    attach("us-trade-co-practice", manager, appliance=boiler)
    assert not Duty.objects.exists()


def test_a_visit_that_was_not_a_test_discharges_nothing(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    attach("fr-4-400kw", manager, appliance=boiler)
    store(body | {"outcome": "not tested", "outcome_reason": "nobody in", "readings": [], "work": []}, technician)
    duty = recompute_duty(duty=Duty.objects.get(), today=date(2026, 3, 3))
    assert duty.last_done is None


def test_a_contract_duty_that_cannot_be_reckoned_is_refused(boiler: Appliance, manager: User) -> None:
    values = {"appliance": boiler, "name": "x", "source": "contract", "rule": {"type": "whenever"}}
    with pytest.raises(FleetError) as refused:
        add_duty(values=values | {"since": date(2026, 1, 1), "why": "x"}, actor=manager, now=NOON)
    assert "rule" in refused.value.details["errors"]
    assert not Duty.objects.exists()


def test_the_revisit_is_at_the_earliest_of_all_reasons_and_lists_them(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    body["defects"] = [{"what": "gasket worn", "severity": "mend", "mend_by": "2026-04-01"}]
    store(body, technician)
    attach("fr-4-400kw", manager, appliance=boiler)
    revisit = refresh_appliance(appliance=boiler, now=NOON)
    assert revisit is not None
    assert (revisit.latest, revisit.binding) == (date(2026, 4, 1), "defect")
    assert [each["binding"] for each in revisit.reasons] == ["defect", "duty"]
    assert "gasket worn" in revisit.sentence


def test_an_unsafe_appliance_is_to_be_seen_at_once(body: dict[str, Any], boiler: Appliance, technician: User) -> None:
    body["disposition"] = {"state": "isolated", "unsafe": True, "details": {"reason": "spilling"}}
    store(body, technician)
    revisit = refresh_appliance(appliance=boiler, now=NOON)
    assert revisit is not None
    assert (revisit.latest, revisit.binding) == (NOON.date(), "unsafe")


def test_an_appliance_that_left_has_no_duty_and_no_revisit(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    store(body, technician)
    attach("fr-4-400kw", manager, appliance=boiler)
    refresh_appliance(appliance=boiler, now=NOON)
    Appliance.objects.filter(id=boiler.id).update(in_service_to=date(2026, 3, 1))
    boiler.refresh_from_db()
    assert propose_revisit(appliance=boiler, now=NOON) is None
    assert Duty.objects.get().until == date(2026, 3, 1)


def test_a_new_appliance_in_the_place_of_an_attachment_is_reached_when_it_is_attached(
    boiler: Appliance, manager: User
) -> None:
    make_appliance(boiler.building, boiler.sheet, "Boiler 2")
    attach("fr-4-400kw", manager, client=boiler.building.client)
    assert Duty.objects.count() == 2


def test_a_new_version_of_a_set_moves_the_next_due_date(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    store(body, technician)
    attach("demo-neutral", manager, appliance=boiler)
    assert Duty.objects.get().due == date(2027, 3, 2)
    neutral = LimitSet.objects.get(key="demo-neutral")
    content = neutral.current.content | {"interval": {"type": "max_months", "months": 6}}
    add_limit_set_version(limit_set=neutral, content=content, actor=manager, now=NOON, id=new_id())
    assert Duty.objects.get().due == date(2026, 9, 2)


def test_a_version_without_an_interval_ends_the_duty(boiler: Appliance, manager: User) -> None:
    attach("demo-neutral", manager, appliance=boiler)
    neutral = LimitSet.objects.get(key="demo-neutral")
    content = neutral.current.content | {"interval": {"type": "none"}}
    add_limit_set_version(limit_set=neutral, content=content, actor=manager, now=NOON, id=new_id())
    assert Duty.objects.get().until == NOON.date()


def test_recomputing_without_a_change_writes_nothing(boiler: Appliance, manager: User) -> None:
    attach("fr-4-400kw", manager, appliance=boiler)
    before = Duty.objects.get().version
    recompute_duty(duty=Duty.objects.get(), today=date(2026, 3, 3))
    assert Duty.objects.get().version == before
