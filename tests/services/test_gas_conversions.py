"""A gas conversion: another gas, another sheet, and a test that falls due."""

from datetime import date
from typing import Any

import pytest

from fleet.assess.projections import check
from fleet.errors import FleetError
from fleet.models import Analyser, Appliance, GasConversion, Person, RequiredCheck, User, VisitCheck
from fleet.models.register import new_id
from fleet.presentation.due_dates import date_words, missing_of, not_counted_words
from fleet.services.gas_conversions import convert_appliance
from fleet.services.register import add_gas_supply
from tests.cast import INSPECTION_POINTS, NOON, SHEET, calculated, make_sheet, store, visit_body
from tests.intake.refused import said_of

CONTENT = {
    "converted_on": "2026-02-20",
    "to_fuel": "propane",
    "kit": "kit K-31",
    "label": "propane, inside the door",
    "analyser_fuel": "propane",
    "done_by": "Ada Test",
    "test_within_days": 14,
}
LATER = date(2026, 3, 3)
BLEND = "natural_gas_20_h2"


@pytest.fixture
def propane(manager: User) -> Any:
    return make_sheet(manager, SHEET | {"fuel": "propane"}, name="For propane")


def convert(boiler: Appliance, actor: User, sheet: Any, **changes: Any) -> GasConversion:
    boiler.refresh_from_db()
    return convert_appliance(
        appliance=boiler,
        version=boiler.version,
        content=CONTENT | changes,
        sheet=sheet,
        actor=actor,
        now=NOON,
        id=new_id(),
    )


def test_it_burns_the_other_gas_and_a_test_of_it_is_due(boiler: Appliance, manager: User, propane: Any) -> None:
    made = convert(boiler, manager, propane)
    boiler.refresh_from_db()
    assert (made.from_fuel, boiler.burns_on(LATER).name, boiler.sheet) == ("natural_gas", "propane", propane)
    required_check = RequiredCheck.objects.get()
    assert (required_check.due, required_check.source, required_check.required_fields) == (
        date(2026, 3, 6),
        "conversion",
        "after_conversion",
    )
    assert date_words(required_check.steps) == "14 days after gas conversion on 20 February 2026 is 6 March 2026."
    assert "kit K-31" in required_check.why
    assert list(check()) == []


def test_a_check_before_it_does_not_count_and_a_complete_one_after_it_does(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User, propane: Any
) -> None:
    store(visit_body(boiler, person, analyser, day="2026-02-01"), technician)
    convert(boiler, manager, propane)
    boiler.refresh_from_db()
    body = visit_body(boiler, person, analyser, found=("10.5", "10.0"), left=None)
    store(body, technician)
    required_check = calculated(RequiredCheck.objects.get(), LATER)
    assert (required_check.due, required_check.lacks) == (date(2026, 3, 6), ["analyser_fuel", "gas_tightness"])
    body = visit_body(boiler, person, analyser, found=("10.5", "10.0"), left=None)
    for reading in body["readings"]:
        reading["analyser_fuel"] = "propane"
    store(body | {"inspection_points": INSPECTION_POINTS | {"gas_tightness": "no drop in two minutes"}}, technician)
    required_check = calculated(required_check, LATER)
    assert (required_check.due, required_check.cannot_tell, required_check.not_counted) == (None, [], [])
    assert date_words(required_check.steps) == "Done on 2 March 2026, after gas conversion on 20 February 2026."


def complete(boiler: Appliance, *who: Any, set_to: str = BLEND, **changes: Any) -> dict[str, Any]:
    """A complete test; what burnt is what the register says unless the technician says otherwise."""
    person, analyser = who
    body = visit_body(boiler, person, analyser, found=("9.40", "9.10"), left=None)
    for reading in body["readings"]:
        reading["analyser_fuel"] = set_to
    return body | {"inspection_points": INSPECTION_POINTS | {"gas_tightness": "no drop in two minutes"}} | changes


def convert_to_blend(boiler: Appliance, manager: User, analyser_fuel: str = BLEND) -> None:
    """Of the same class as the gas before: readings with the analyser set to that are invalid for no other reason."""
    Analyser.objects.update(co2="measured")
    convert(boiler, manager, None, to_fuel=BLEND, analyser_fuel=analyser_fuel)
    boiler.refresh_from_db()


@pytest.mark.parametrize(
    ("changes", "lacks"),
    [
        ({"set_to": "natural_gas", "fuel": "natural_gas"}, ["new_gas", "analyser_new_gas"]),
        ({"fuel": "natural_gas"}, ["new_gas"]),
        ({"set_to": "natural_gas"}, ["analyser_new_gas"]),
    ],
)
def test_a_visit_on_the_gas_before_is_made_and_counts_nothing_and_says_why(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User,
    changes: dict[str, str], lacks: list[str],
) -> None:  # fmt: skip
    convert_to_blend(boiler, manager)
    store(complete(boiler, person, analyser, **changes), technician)
    required_check = calculated(RequiredCheck.objects.get(), LATER)
    assert (required_check.due, required_check.last_done, required_check.visited_on) == (
        date(2026, 3, 6),
        None,
        date(2026, 3, 2),
    )
    assert required_check.lacks == lacks
    said = {"new_gas": "the new gas as what burnt", "analyser_new_gas": "the analyser set for the new gas"}
    assert not_counted_words(required_check.visited_on, required_check.not_counted) == (
        f"Visited on 2 March 2026, doesn't count: its record lacks {'; '.join(said[each] for each in lacks)}."
    )
    store(complete(boiler, person, analyser), technician)
    assert calculated(required_check, LATER).last_done == date(2026, 3, 2)


def test_a_visit_that_came_in_before_the_conversion_tested_the_gas_that_its_record_names(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    store(complete(boiler, person, analyser, set_to="natural_gas"), technician)
    convert_to_blend(boiler, manager, analyser_fuel="natural_gas")
    required_check = calculated(RequiredCheck.objects.get(), LATER)
    assert required_check.lacks == ["new_gas"]
    (missing,) = missing_of(required_check.required_fields, required_check.lacks)
    assert "held against the gas that the appliance was converted to" in missing.found


def test_what_the_conversion_sets_the_analyser_to_fits_too(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    """Where the analyser doesn't know the gas, the conversion names the nearest that it does."""
    convert_to_blend(boiler, manager, analyser_fuel="natural_gas")
    store(complete(boiler, person, analyser, set_to="natural_gas"), technician)
    assert calculated(RequiredCheck.objects.get(), LATER).last_done == date(2026, 3, 2)


def test_found_on_the_gas_before_and_left_on_the_new_one_counts(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User, propane: Any
) -> None:
    convert(boiler, manager, propane)
    boiler.refresh_from_db()
    body = visit_body(boiler, person, analyser, left=("10.5", "10.0"))
    for reading in body["readings"]:
        reading["analyser_fuel"] = "propane" if reading["phase"] == "as_left" else "natural_gas"
    store(body | {"inspection_points": INSPECTION_POINTS | {"gas_tightness": "no drop in two minutes"}}, technician)
    assert calculated(RequiredCheck.objects.get(), LATER).last_done == date(2026, 3, 2)


def test_what_an_older_program_kept_of_a_visit_is_made_again(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    convert_to_blend(boiler, manager)
    store(complete(boiler, person, analyser), technician)
    older = VisitCheck.objects.get()
    VisitCheck.objects.update(used={"fuel_kind": "gas"}, made_with=1)
    assert calculated(RequiredCheck.objects.get(), LATER).last_done == date(2026, 3, 2)
    assert VisitCheck.objects.get().used == older.used


def test_a_second_conversion_ends_the_test_of_the_first(boiler: Appliance, manager: User, propane: Any) -> None:
    sheet = boiler.sheet
    convert(boiler, manager, propane)
    convert(boiler, manager, sheet, to_fuel="natural_gas", analyser_fuel="natural_gas", converted_on="2026-02-25")
    first, second = RequiredCheck.objects.order_by("since")
    assert (first.until, first.ended_why) == (date(2026, 2, 25), "converted_again")
    assert second.until is None
    boiler.refresh_from_db()
    assert boiler.fuel == ""  # what the pipe brings


def test_a_conversion_because_the_pipe_brings_another_gas(boiler: Appliance, manager: User) -> None:
    supply = {"building": boiler.building, "since": date(2026, 2, 20), "fuel": "natural_gas_20_h2", "source": "network"}
    add_gas_supply(values=supply, actor=manager, now=NOON)
    made = convert(boiler, manager, None, to_fuel="natural_gas_20_h2", analyser_fuel="natural_gas_20_h2")
    assert made.from_fuel == "natural_gas"


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"to_fuel": "natural_gas"}, "to_fuel"), ({"converted_on": "2026-03-03"}, "converted_on"),
     ({"converted_on": "2014-01-01"}, "converted_on"), ({"to_fuel": "natural_gas_20_h2"}, "sheet")],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_is_half_done(
    boiler: Appliance, manager: User, propane: Any, changes: dict[str, Any], field: str
) -> None:
    with pytest.raises(FleetError) as refused:
        convert(boiler, manager, propane, **changes)
    assert field in said_of(refused.value)
    assert not GasConversion.objects.exists()
    boiler.refresh_from_db()
    assert boiler.version == 1


def test_a_conversion_recorded_late_does_not_undo_a_later_one(boiler: Appliance, manager: User, propane: Any) -> None:
    convert(boiler, manager, propane)
    with pytest.raises(FleetError) as refused:
        convert(boiler, manager, None, converted_on="2025-06-01", to_fuel="methane")
    assert "must come after 2026-02-20" in said_of(refused.value)["converted_on"]
    boiler.refresh_from_db()
    assert boiler.sheet == propane
