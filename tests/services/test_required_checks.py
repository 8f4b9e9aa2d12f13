"""Required checks: what a set's rule or a contract asks, when it next falls due, and in which words."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.assess.due.due_dates import calculate
from fleet.assess.due.required_checks import required_checks_of
from fleet.errors import FleetError
from fleet.models import Analyser, Appliance, LimitSet, Person, RequiredCheck, User
from fleet.models.register import new_id
from fleet.presentation.due_dates import date_words
from fleet.presentation.revisits import reason_words
from fleet.queries.required_checks import standing_required_checks
from fleet.services.limit_sets import add_limit_set_version, assign_limit_set
from fleet.services.required_checks import add_required_check
from fleet.services.revisits import refresh_appliance
from tests.cast import NOON, SHEET, calculated, make_appliance, make_sheet, measured, propose_revisit, store, visit_body
from tests.intake.refused import said_of


def attach(key: str, actor: User, since: date = date(2025, 1, 1), **place: Any) -> None:
    values = {"limit_set": LimitSet.objects.get(key=key), "since": since, "why": "decided for a test"} | place
    assign_limit_set(values=values, actor=actor, now=NOON)


def test_attaching_a_set_with_an_interval_opens_its_required_check(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    store(body, technician)
    attach("fr-4-400kw", manager, building=boiler.building)
    required_check = RequiredCheck.objects.get()
    assert required_check.due == date(2027, 12, 31)
    assert required_check.last_done == date(2026, 3, 2)
    assert "2027" in date_words(required_check.steps)


def test_the_anniversary_is_kept_inside_its_window(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    """Published worked example on SI 2018/139, moved to 2026: a check in the last two months keeps the date."""
    store(visit_body(boiler, person, analyser, day="2025-04-10"), technician)
    store(visit_body(boiler, person, analyser, day="2026-03-05"), technician)
    attach("uk-gsiur-36", manager, appliance=boiler)
    refresh_appliance(appliance=boiler, now=NOON + timedelta(days=5))
    required_check = RequiredCheck.objects.get()
    assert (required_check.due, required_check.earliest_keep) == (date(2027, 4, 10), date(2027, 2, 11))


def test_a_set_without_an_interval_opens_no_required_check(boiler: Appliance, manager: User) -> None:
    attach("us-trade-co-practice", manager, appliance=boiler)
    assert not RequiredCheck.objects.exists()


def test_a_visit_that_was_not_a_test_counts_nothing(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    attach("fr-4-400kw", manager, appliance=boiler)
    store(body | {"outcome": "not_tested", "outcome_reason": "nobody in", "readings": [], "work": []}, technician)
    required_check = calculated(RequiredCheck.objects.get(), date(2026, 3, 3))
    assert required_check.last_done is None


def test_a_contract_required_check_that_cannot_be_calculated_is_refused(boiler: Appliance, manager: User) -> None:
    values = {"appliance": boiler, "name": "x", "source": "contract", "rule": {"type": "whenever"}}
    with pytest.raises(FleetError) as refused:
        add_required_check(values=values | {"since": date(2026, 1, 1), "why": "x"}, actor=manager, now=NOON)
    assert list(said_of(refused.value)) == ["rule.type"]
    assert not RequiredCheck.objects.exists()


def test_the_revisit_is_at_the_earliest_of_all_reasons_and_lists_them(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    body["defects"] = [{"what": "gasket worn", "severity": "repair", "repair_by": "2026-04-01"}]
    store(body, technician)
    attach("fr-4-400kw", manager, appliance=boiler)
    revisit = refresh_appliance(appliance=boiler, now=NOON)
    assert revisit is not None
    assert (revisit.latest, revisit.date_set_by) == (date(2026, 4, 1), "defect")
    assert [each["kind"] for each in revisit.reasons] == ["defect", "required_check"]
    assert "gasket worn" in reason_words(revisit.why)


def test_an_unsafe_appliance_is_to_be_seen_at_once(body: dict[str, Any], boiler: Appliance, technician: User) -> None:
    body["disposition"] = {"state": "isolated", "unsafe": True, "details": {"reason": "spilling"}}
    store(body, technician)
    revisit = refresh_appliance(appliance=boiler, now=NOON)
    assert revisit is not None
    assert (revisit.latest, revisit.date_set_by) == (NOON.date(), "unsafe")


def test_an_appliance_that_left_has_no_required_check_and_no_revisit(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    store(body, technician)
    attach("fr-4-400kw", manager, appliance=boiler)
    refresh_appliance(appliance=boiler, now=NOON)
    Appliance.objects.filter(id=boiler.id).update(in_service_to=date(2026, 3, 1))
    boiler.refresh_from_db()
    assert propose_revisit(appliance=boiler, now=NOON) is None
    assert RequiredCheck.objects.get().until == date(2026, 3, 1)


def test_a_new_appliance_in_the_place_of_an_assignment_is_reached_when_it_is_attached(
    boiler: Appliance, manager: User
) -> None:
    make_appliance(boiler.building, boiler.sheet, "Boiler 2")
    attach("fr-4-400kw", manager, client=boiler.building.client)
    assert RequiredCheck.objects.count() == 2


def test_a_new_version_of_a_set_moves_the_next_due_date(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    store(body, technician)
    attach("demo-neutral", manager, appliance=boiler)
    assert RequiredCheck.objects.get().due == date(2027, 3, 2)
    neutral = LimitSet.objects.get(key="demo-neutral")
    content = neutral.current.content | {"interval": {"type": "max_months", "months": 6}}
    add_limit_set_version(limit_set=neutral, content=content, actor=manager, now=NOON, id=new_id())
    assert RequiredCheck.objects.get().due == date(2026, 9, 2)


def test_a_version_without_an_interval_ends_the_required_check(boiler: Appliance, manager: User) -> None:
    attach("demo-neutral", manager, appliance=boiler)
    neutral = LimitSet.objects.get(key="demo-neutral")
    content = neutral.current.content | {"interval": {"type": "none"}}
    add_limit_set_version(limit_set=neutral, content=content, actor=manager, now=NOON, id=new_id())
    assert RequiredCheck.objects.get().until == NOON.date()


# ---- what counts for ----


def spoilt(body: dict[str, Any], how: str) -> dict[str, Any]:
    for reading in body["readings"]:
        if how == "common_flue":
            reading["sampling_point"] = "common_flue"
        elif how == "invalid":
            reading["values"] |= {"o2": measured("18.0", "%"), "co2": measured("9.40", "%")}
        else:
            reading["values"]["co"] = measured("0", "ppm", "not_measured")
    return body


@pytest.mark.parametrize("how", ["common_flue", "invalid", "no CO"])
def test_a_visit_without_a_reading_judged_for_co_counts_nothing(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User, how: str
) -> None:
    attach("demo-neutral", manager, appliance=boiler)
    visit = store(spoilt(body, how), technician)
    assert how != "invalid" or all(each["invalid"] for each in visit.judgement.derived)
    required_check = calculated(RequiredCheck.objects.get(), date(2026, 3, 3))
    assert (required_check.last_done, required_check.due) == (None, date(2026, 1, 1))


def test_high_co_in_the_common_flue_is_outside_and_yet_no_check_of_the_appliance(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    attach("demo-neutral", manager, appliance=boiler)
    spoilt(body, "common_flue")
    for reading in body["readings"]:
        reading["values"]["co"] = measured("2000", "ppm")
    visit = store(body, technician)
    assert visit.judgement.outcome == "outside"
    assert calculated(RequiredCheck.objects.get(), date(2026, 3, 3)).last_done is None


def test_one_reading_outside_for_co_is_a_check(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    attach("demo-neutral", manager, appliance=boiler)
    spoilt(body, "no CO")
    body["readings"][0]["values"]["co"] = measured("900", "ppm")
    store(body, technician)
    assert calculated(RequiredCheck.objects.get(), date(2026, 3, 3)).last_done == date(2026, 3, 2)


def test_a_check_that_is_no_evidence_counts_and_the_words_say_so(
    body: dict[str, Any], boiler: Appliance, analyser: Analyser, technician: User, manager: User
) -> None:
    analyser.calibrations.update(valid_to="2025-12-31")
    attach("demo-neutral", manager, appliance=boiler)
    store(body, technician)
    required_check = calculated(RequiredCheck.objects.get(), date(2026, 3, 3))
    assert required_check.due == date(2027, 3, 2)
    assert date_words(required_check.steps).endswith(
        "Counts from a record that is no evidence: Analyser 1 had no calibration in force on 2 March 2026."
    )
    analyser.calibrations.update(valid_to="2030-12-31")
    assert "no evidence" not in date_words(calculated(required_check, date(2026, 3, 3)).steps)


def test_required_checks_of_many_appliances_are_calculated_in_as_many_queries_as_of_one(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    def queries() -> int:
        days = [(each, date(2026, 3, 3)) for each in required_checks_of(Appliance.objects.values_list("id", flat=True))]
        with CaptureQueriesContext(connection) as asked:
            assert all(each.counted_by for each in calculate(days))
        return len(asked)

    store(visit_body(boiler, person, analyser), technician)
    attach("demo-neutral", manager, client=boiler.building.client)
    one = queries()
    for number in range(2, 5):
        other = make_appliance(boiler.building, boiler.sheet, f"Boiler {number}")
        store(visit_body(other, person, analyser), technician)
        attach("demo-neutral", manager, appliance=other)
    assert queries() == one


# ---- what counts before the required check began ----


def came(appliance: Appliance, day: date, **changes: Any) -> Appliance:
    Appliance.objects.filter(id=appliance.id).update(in_service_from=day, **changes)
    appliance.refresh_from_db()
    return appliance


def test_an_old_boiler_is_not_commissioned_on_the_day_a_set_is_attached(boiler: Appliance, manager: User) -> None:
    came(boiler, date(1995, 5, 1))
    attach("de-1bimschv", manager, since=date(2026, 3, 1), appliance=boiler)
    required_check = RequiredCheck.objects.get()
    assert "commissioning" not in date_words(required_check.steps)
    assert required_check.due == date(2028, 12, 31)  # more than twelve years old: every second calendar year
    assert required_check.cannot_tell == []


def test_a_boiler_commissioned_shortly_before_keeps_its_first_date(boiler: Appliance, manager: User) -> None:
    came(boiler, date(2026, 2, 20))
    attach("de-1bimschv", manager, since=date(2026, 3, 1), appliance=boiler)
    required_check = RequiredCheck.objects.get()
    assert required_check.due == date(2026, 3, 20)
    assert "28 days after commissioning on 20 February 2026" in date_words(required_check.steps)


@pytest.mark.parametrize(
    ("since", "control", "due"),
    [
        (date(1995, 5, 1), "pneumatic_ratio", date(2028, 12, 31)),
        (date(2020, 5, 1), "pneumatic_ratio", date(2029, 12, 31)),
        (date(1995, 5, 1), "self_adapting", date(2031, 12, 31)),
    ],
)
def test_age_and_control_choose_the_interval(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User, since: date, control: str, due: date
) -> None:
    """1. BImSchV sec. 15(3): every third calendar year, every second from over twelve years, every fifth if
    self-calibrating."""
    content = SHEET | {"control": control}
    came(boiler, since, sheet=make_sheet(manager, content, name="By control"))
    store(body, technician)
    attach("de-1bimschv", manager, since=date(2026, 3, 1), appliance=boiler)
    assert RequiredCheck.objects.get().due == due


def test_a_check_before_the_required_check_began_counts(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    store(visit_body(boiler, person, analyser, day="2025-06-10"), technician)
    attach("demo-neutral", manager, since=date(2026, 3, 1), appliance=boiler)
    assert RequiredCheck.objects.get().due == date(2026, 6, 10)


def test_a_removal_planned_ahead_ends_no_required_check_before_its_day(boiler: Appliance, manager: User) -> None:
    came(boiler, date(2015, 1, 1), in_service_to=date(2027, 5, 1))
    attach("demo-neutral", manager, building=boiler.building)
    assert propose_revisit(appliance=boiler, now=NOON) is not None
    assert RequiredCheck.objects.get().until is None
    assert list(standing_required_checks(manager, date(2027, 5, 1))) == list(RequiredCheck.objects.all())
    assert not standing_required_checks(manager, date(2027, 5, 2)).exists()


def test_an_appliance_that_is_yet_to_come_keeps_its_required_check(boiler: Appliance, manager: User) -> None:
    attach("demo-neutral", manager, building=boiler.building)
    came(boiler, date(2026, 9, 1))
    assert propose_revisit(appliance=boiler, now=NOON) is None
    required_check = RequiredCheck.objects.get()
    assert (required_check.until, required_check.due) == (None, date(2027, 9, 1))


def test_recomputing_without_a_change_writes_nothing(boiler: Appliance, manager: User) -> None:
    attach("fr-4-400kw", manager, appliance=boiler)
    before = RequiredCheck.objects.get().version
    calculated(RequiredCheck.objects.get(), date(2026, 3, 3))
    assert RequiredCheck.objects.get().version == before
