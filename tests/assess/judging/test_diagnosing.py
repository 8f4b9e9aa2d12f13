"""What readings suggest, kept beside the judgement: of the visit itself, of its change since the last, of others."""

from typing import Any

import pytest

from fleet import tasks
from fleet.assess.judging.diagnosing import suggested_elsewhere
from fleet.models import Analyser, Appliance, Building, Client, Job, Person, User, Visit
from fleet.presentation.diagnoses import causes_of, checks_of, diagnosis_words
from fleet.services import judgements
from fleet.services.judgements import judge_visit
from tests.cast import NOON, make_appliance, make_building, measured, store, visit_body

pytestmark = pytest.mark.django_db


def patterns_of(visit: Visit) -> list[str]:
    return list(visit.diagnoses.values_list("pattern", flat=True))


def o2(body: dict[str, Any], *values: str) -> dict[str, Any]:
    """The body with O2 in the place of CO2, one figure a reading."""
    for each, value in zip(body["readings"], values, strict=True):
        each["values"].pop("co2")
        each["values"] |= {"o2": measured(value, "%")}
    return body


def compare(visit: Visit) -> None:
    assert tasks.run_job(Job.objects.get(kind="compare_visit", key=str(visit.id), state="waiting").id)


def test_an_ordinary_visit_suggests_nothing(body: dict[str, Any], technician: User) -> None:
    body["readings"][1]["values"]["flue_temp"] = measured("45.0", "degC")
    body["readings"][3]["values"]["flue_temp"] = measured("46.0", "degC")
    assert patterns_of(store(body, technician)) == ["DX06"]


def test_o2_that_fell_with_co_since_the_last_visit_says_stop_and_find(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    first = o2(visit_body(boiler, person, analyser, day="2025-03-02", left=None), "5.0", "5.4")
    store(first, technician)
    later = o2(visit_body(boiler, person, analyser, left=None, co="140"), "4.1", "5.3")
    visit = store(later, technician)
    found = visit.diagnoses.get(pattern="DX01")
    assert (found.severity, found.number) == ("stop_and_find", 1)
    assert "from 5.0 to 4.1 %" in diagnosis_words(found)
    assert causes_of(found)
    assert checks_of(found)


def test_another_gas_since_the_last_visit_compares_nothing(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    store(o2(visit_body(boiler, person, analyser, day="2025-03-02", left=None), "5.0", "5.4"), technician)
    later = o2(visit_body(boiler, person, analyser, left=None, co="140"), "4.1", "5.3") | {"fuel": "propane"}
    assert "DX01" not in patterns_of(store(later, technician))


def test_a_zero_taken_near_flue_gas_is_said(body: dict[str, Any], technician: User) -> None:
    body["conditions"] |= {"zero_o2": measured("20.1", "%"), "zero_co": measured("0", "ppm")}
    assert "DX11" in patterns_of(store(body, technician))


def test_an_analyser_set_to_another_fuel_is_said(body: dict[str, Any], technician: User) -> None:
    for each in body["readings"]:
        each["analyser_fuel"] = "propane"
    assert "DX10" in patterns_of(store(body, technician))


def test_a_zero_that_is_off_makes_the_readings_invalid_and_keeps_their_co_finding(
    body: dict[str, Any], technician: User
) -> None:
    body["conditions"] |= {"zero_o2": measured("20.1", "%")}
    body["readings"][0]["values"]["co"] = measured("900", "ppm")
    visit = store(body, technician)
    assert {each["invalid"] for each in visit.judgement.derived} == {True}
    outcomes = {(each["kind"], each["outcome"]) for each in visit.judgement.verdicts["verdicts"]}
    assert ("band", "not_judged") in outcomes
    assert visit.judgement.verdicts["stop"]


def test_natural_gas_with_hydrogen_is_no_other_fuel(body: dict[str, Any], technician: User) -> None:
    for each in body["readings"]:
        each["analyser_fuel"] = "natural_gas_10_h2"
    assert "DX10" not in patterns_of(store(body, technician))


def test_co_in_the_room_that_rises_stays_though_the_reading_is_invalid(body: dict[str, Any], technician: User) -> None:
    body["conditions"] |= {"zero_o2": measured("20.1", "%"), "ambient_co_after": measured("8", "ppm")}
    found = patterns_of(store(body, technician))
    assert found[:2] == ["DX14", "DX11"]


def test_judging_again_leaves_one_row_a_pattern(body: dict[str, Any], technician: User) -> None:
    body["conditions"] |= {"zero_o2": measured("20.1", "%")}
    visit = store(body, technician)
    before = patterns_of(visit)
    judge_visit(visit=Visit.objects.get(id=visit.id), now=NOON)
    assert patterns_of(visit) == before


# ---- what needs other visits ----


def test_a_reading_copied_from_another_visit_asks_the_office(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    first = store(visit_body(boiler, person, analyser, day="2025-03-02"), technician)
    second = store(visit_body(boiler, person, analyser), technician)
    compare(second)
    found = second.diagnoses.get(pattern="DX23")
    assert set(found.inputs["others"]) <= {str(each.id) for each in first.readings.all()}
    assert second.questions.filter(code="pattern_dx23").count() == 1


def test_comparing_twice_keeps_one_pattern_and_one_mark(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    store(visit_body(boiler, person, analyser, day="2025-03-02"), technician)
    visit = store(visit_body(boiler, person, analyser), technician)
    for _time in range(2):
        found = suggested_elsewhere(Visit.objects.get(id=visit.id))
        judgements.put_elsewhere(visit=visit, found=found, now=NOON)
    assert (visit.diagnoses.filter(pattern="DX23").count(), visit.questions.filter(code="pattern_dx23").count()) == (
        1,
        1,
    )


def test_three_appliances_of_a_building_that_moved_together_are_seen(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    three = [boiler, *(make_appliance(boiler.building, boiler.sheet, f"Boiler {n}") for n in (2, 3))]
    for n, each in enumerate(three):
        low = f"5.{n + 1}"
        store(o2(visit_body(each, person, analyser, day="2025-03-02", left=None), "5.0", low), technician)
        visit = store(o2(visit_body(each, person, analyser, left=None), f"5.{n + 6}", low), technician)
    compare(visit)
    found = visit.diagnoses.get(pattern="DX24")
    assert set(found.inputs["appliance" if "appliance" in found.inputs else "appliances"]) == {
        str(each.id) for each in three
    }


def test_an_analyser_that_reads_all_buildings_higher_is_named(
    client_of_ours: Client, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    visit = None
    for n in range(10):
        building: Building = make_building(client_of_ours, f"House {n}")
        appliance = make_appliance(building, boiler.sheet, "Boiler 1", serial=f"S-{n}")
        left = f"5.{n % 3}"
        store(o2(visit_body(appliance, person, analyser, day="2025-03-02", left=None), left, "5.4"), technician)
        visit = store(o2(visit_body(appliance, person, analyser, left=None), f"5.{n % 3 + 5}", "5.4"), technician)
    assert visit is not None
    compare(visit)
    assert "DX25" in patterns_of(visit)


def test_a_zero_below_nothing_is_off_too(body: dict[str, Any], technician: User) -> None:
    body["conditions"] |= {"zero_o2": measured("20.9", "%"), "zero_co": measured("-30", "ppm")}
    visit = store(body, technician)
    assert "DX11" in patterns_of(visit)
    assert visit.questions.filter(code="value_implausible").exists()


def test_an_analyser_set_to_plain_gas_where_a_blend_burns_is_said(body: dict[str, Any], technician: User) -> None:
    for each in body["readings"]:
        each["analyser_fuel"] = "natural_gas"
    visit = store(body | {"fuel": "natural_gas_20_h2"}, technician)
    assert "DX10" in patterns_of(visit)
    assert {each["invalid"] for each in visit.judgement.derived} == {True}


def test_what_was_found_before_work_is_not_how_it_was_left(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    first = o2(visit_body(boiler, person, analyser, day="2025-03-02", left=None), "6.5", "6.5")
    first["work"] = [{"kind": "adjustment", "after_reading": 2, "adjuster": "ratio screw", "rate": "high"}]
    store(first | {"left_as_found": False}, technician)
    visit = store(o2(visit_body(boiler, person, analyser, left=None), "5.0", "5.0"), technician)
    assert "DX02" not in patterns_of(visit)
