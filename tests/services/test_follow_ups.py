"""What a finding asks for by a day: another test, ended by the next check and by nothing else; a defect repaired."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.assess.projections import check
from fleet.errors import Conflict, FleetError
from fleet.models import Analyser, Appliance, Contractor, Defect, Job, LimitSet, Person, Retest, Revisit, User
from fleet.presentation.due_dates import date_words
from fleet.presentation.revisits import retest_words
from fleet.services.follow_ups import resolve_defect
from fleet.services.limit_sets import make_limit_set
from tests.cast import NOON, propose_revisit, store, visit_body
from tests.services.test_deliveries import corrected, under

# As measured; at 8.9 % CO2 air-free about 1170 ppm.
OVER = "900"


@pytest.fixture
def co_found(boiler: Appliance, person: Person, analyser: Analyser, manager: User) -> dict[str, Any]:
    under(boiler, "de-kueo-co", manager)
    return visit_body(boiler, person, analyser, co=OVER)


def test_six_weeks_after_co_over_the_limit(co_found: dict[str, Any], technician: User) -> None:
    # KÜO sec. 1(2): repeated at the latest after six weeks. 2 March + 42 days is 13 April 2026.
    store(co_found, technician)
    retest = Retest.objects.get()
    assert (retest.found_on, retest.due, retest.done_by) == (date(2026, 3, 2), date(2026, 4, 13), None)
    assert "42 days after co over limit on 2 March 2026 is 13 April 2026" in retest_words(
        retest.limit_set.name, retest.steps
    )


def test_four_weeks_by_another_set(
    boiler: Appliance, person: Person, analyser: Analyser, manager: User, technician: User
) -> None:
    # DVGW G 680 as a network operator gives it: 300 ppm confirmed, four weeks.
    under(boiler, "de-dvgw-g680", manager)
    store(visit_body(boiler, person, analyser, co="300"), technician)
    assert Retest.objects.get().due == date(2026, 3, 30)


@pytest.mark.parametrize("co", ["40", "500"])
def test_only_the_limits_that_the_clock_names_start_it(
    boiler: Appliance, person: Person, analyser: Analyser, manager: User, technician: User, co: str
) -> None:
    """At 500 ppm as measured the set only recommends a service: 649 ppm air-free."""
    under(boiler, "de-kueo-co", manager)
    store(visit_body(boiler, person, analyser, co=co), technician)
    assert not Retest.objects.exists()


def test_a_set_may_ask_for_another_test_after_an_unsafe_disposition(
    boiler: Appliance, body: dict[str, Any], manager: User, technician: User
) -> None:
    """No text that ships asks for one; a contractor's own set can, and only what was declared unsafe starts it."""
    clock = {"type": "days_after_event", "event": "unsafe", "days": 7}
    content = LimitSet.objects.get(key="demo-neutral").versions.get().content | {"retest": clock}
    values = {"key": "own-rules", "name": "Own rules"}
    make_limit_set(values=values, content=content, actor=manager, now=NOON)
    under(boiler, "own-rules", manager)
    unsafe = {"state": "isolated", "unsafe": True}
    store(body | {"disposition": {"state": "left_in_use"}}, technician)
    assert not Retest.objects.exists()
    corrected(body, manager, disposition=unsafe)
    retest = Retest.objects.get()
    assert (retest.event, retest.found_on, retest.due) == ("unsafe", date(2026, 3, 2), date(2026, 3, 9))
    assert (
        retest_words(retest.limit_set.name, retest.steps)
        == "Another test by Own rules: 7 days after unsafe on 2 March 2026 is 9 March 2026."
    )
    revisit = propose_revisit(appliance=boiler, now=NOON)
    assert revisit is not None
    assert ("retest", "2026-03-09") in {(each["kind"], each["latest"]) for each in revisit.reasons}


def test_no_set_that_ships_starts_a_retest_after_an_unsafe_disposition(installation: User) -> None:
    clocks = [each.current.content.get("retest") for each in LimitSet.objects.all() if each.current]
    assert "unsafe" not in [each["event"] for each in clocks if each]
    assert "another test" in LimitSet.objects.get(key="uk-unsafe-situations").versions.get().content["notes"]


def test_it_is_a_reason_to_come_until_the_next_check(
    boiler: Appliance, co_found: dict[str, Any], person: Person, analyser: Analyser, technician: User
) -> None:
    store(co_found, technician)
    revisit = propose_revisit(appliance=boiler, now=NOON)
    assert revisit is not None
    assert ("retest", "2026-04-13") in {(each["kind"], each["latest"]) for each in revisit.reasons}
    later = store(visit_body(boiler, person, analyser, day="2026-03-20"), technician, NOON + timedelta(days=18))
    propose_revisit(appliance=boiler, now=NOON + timedelta(days=18))
    assert Retest.objects.get().done_by == later
    assert not any(each["kind"] == "retest" for one in Revisit.objects.all() for each in one.reasons)


def test_a_visit_that_tests_nothing_ends_nothing(
    boiler: Appliance, co_found: dict[str, Any], person: Person, analyser: Analyser, technician: User
) -> None:
    store(co_found, technician)
    looked = visit_body(boiler, person, analyser, day="2026-03-20")
    looked |= {"outcome": "not_tested", "outcome_reason": "no gas", "readings": [], "work": []}
    store(looked, technician, NOON + timedelta(days=18))
    propose_revisit(appliance=boiler, now=NOON + timedelta(days=18))
    assert Retest.objects.get().done_by is None


def test_a_second_test_of_the_same_day_ends_it_by_its_hour(
    boiler: Appliance, co_found: dict[str, Any], person: Person, analyser: Analyser, technician: User
) -> None:
    later = visit_body(boiler, person, analyser)
    for each in later["readings"]:
        each["taken_at"] = each["taken_at"].replace("T10:", "T11:")
    later["attendance"] |= {"arrived_at": "2026-03-02T10:50:00+00:00", "left_at": "2026-03-02T11:50:00+00:00"}
    again = store(later, technician)
    store(co_found, technician)
    propose_revisit(appliance=boiler, now=NOON)
    assert Retest.objects.get().done_by == again


def test_a_test_that_is_over_again_starts_a_clock_of_its_own(
    boiler: Appliance, co_found: dict[str, Any], person: Person, analyser: Analyser, technician: User
) -> None:
    store(co_found, technician)
    store(visit_body(boiler, person, analyser, day="2026-03-20", co=OVER), technician, NOON + timedelta(days=18))
    propose_revisit(appliance=boiler, now=NOON + timedelta(days=18))
    still_open = Retest.objects.get(done_by__isnull=True)
    assert (still_open.found_on, still_open.due) == (date(2026, 3, 20), date(2026, 5, 1))
    assert Retest.objects.count() == 2


def test_a_correction_takes_it_back(
    boiler: Appliance, co_found: dict[str, Any], person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    store(co_found, technician)
    repaired = visit_body(boiler, person, analyser) | {"id": co_found["id"], "attendance": co_found["attendance"]}
    corrected(repaired, manager)
    assert not Retest.objects.exists()


def found(body: dict[str, Any], actor: User, **said: Any) -> Defect:
    store(body | {"defects": [{"what": "seal worn", "severity": "repair"} | said]}, actor)
    return Defect.objects.get()


@pytest.mark.parametrize(
    ("severity", "due"), [("unsafe", date(2026, 3, 2)), ("urgent", date(2026, 3, 16)), ("repair", date(2026, 3, 30))]
)
def test_without_a_day_the_contractors_own_days_count(
    body: dict[str, Any], technician: User, severity: str, due: date
) -> None:
    defect = found(body, technician, severity=severity)
    assert (defect.due, defect.repair_by) == (due, None)
    assert date_words(defect.steps).startswith("by the contractor's own choice: ")


def test_a_note_has_no_day(body: dict[str, Any], technician: User) -> None:
    assert found(body, technician, severity="note").due is None


def test_what_the_visit_recorded_counts_instead_of_the_contractors_days(body: dict[str, Any], technician: User) -> None:
    defect = found(body, technician, repair_by="2026-05-01")
    assert (defect.due, defect.steps) == (date(2026, 5, 1), [["as_recorded", {}]])


def test_a_set_that_applies_binds_where_it_is_earlier(
    boiler: Appliance, body: dict[str, Any], technician: User, manager: User
) -> None:
    # New York City boilers: defects corrected within 90 days of the inspection (secondary source, medium confidence).
    under(boiler, "us-nyc-dob-annual", manager)
    defect = found(body, technician, repair_by="2026-12-01")
    assert defect.due == date(2026, 5, 31)
    assert date_words(defect.steps).endswith("90 days after 2 March 2026 is 31 May 2026.")


def test_another_choice_of_the_contractor_dates_open_defects_again(
    boiler: Appliance, body: dict[str, Any], technician: User
) -> None:
    defect = found(body, technician)
    Contractor.objects.update(repair_within_days={"repair": 7})
    revisit = propose_revisit(appliance=boiler, now=NOON)
    defect.refresh_from_db()
    assert defect.due == date(2026, 3, 9)
    assert revisit is not None
    assert (revisit.date_set_by, revisit.latest) == ("defect", date(2026, 3, 9))


def test_its_dates_and_its_closing_are_no_matter_of_the_record(
    body: dict[str, Any], technician: User, dispatcher: User
) -> None:
    defect = found(body, technician)
    resolve_defect(defect=defect, version=defect.version, why="repaired by the owner", actor=dispatcher, now=NOON)
    assert list(check()) == []


def test_a_named_person_closes_it_with_a_reason_and_its_revisit_goes(
    boiler: Appliance, body: dict[str, Any], technician: User, dispatcher: User
) -> None:
    defect = found(body, technician)
    propose_revisit(appliance=boiler, now=NOON)
    Job.objects.all().delete()
    resolved = resolve_defect(defect=defect, version=defect.version, why="repaired", actor=dispatcher, now=NOON)
    assert (resolved.is_open, resolved.resolved_by, resolved.resolved_why) == (False, dispatcher, "repaired")
    assert Job.objects.filter(kind="refresh_appliance", key=str(boiler.id)).exists()
    propose_revisit(appliance=boiler, now=NOON)
    assert not Revisit.objects.exists()


def test_it_is_closed_once_and_never_without_a_reason(body: dict[str, Any], technician: User, dispatcher: User) -> None:
    defect = found(body, technician)
    with pytest.raises(FleetError) as wordless:
        resolve_defect(defect=defect, version=defect.version, why=" ", actor=dispatcher, now=NOON)
    assert wordless.value.code == "invalid"
    resolve_defect(defect=defect, version=defect.version, why="repaired", actor=dispatcher, now=NOON)
    with pytest.raises(Conflict):
        resolve_defect(defect=defect, version=defect.version, why="again", actor=dispatcher, now=NOON)


def test_it_is_overdue_from_the_day_after_its_last(body: dict[str, Any], technician: User) -> None:
    defect = found(body, technician)
    assert not defect.is_overdue(date(2026, 3, 30))
    assert defect.is_overdue(date(2026, 3, 30) + timedelta(days=1))
