"""Series out of records: which visits and readings make one, and on which scale they stand."""

import math
from datetime import timedelta

import pytest

from fleet.assess.foresight.series import series_of
from fleet.intake.sheets import read_sheet
from fleet.models import Analyser, Appliance, Person, User
from fleet.models.register import new_id
from fleet.services.appliances import add_sheet_version
from tests.cast import NOON, SHEET, make_appliance, make_sheet, measured, store, visit_body
from tests.drifting import RANGE, live, with_targets


def linkage(boiler: Appliance, manager: User) -> Appliance:
    return make_appliance(boiler.building, make_sheet(manager, SHEET | {"control": "linkage"}, "Linkage"), "Boiler 5")


def test_thin_air_at_the_visit_is_corrected_for_where_its_pressure_was_read(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    """A linkage's air goes with the pressure, its gas with the root: thinner air burns richer, so CO2 reads high."""
    appliance, entries = linkage(boiler, manager), []
    for day, pressure in (("2025-03-02", None), ("2026-03-02", "970")):
        body = visit_body(appliance, person, analyser, day=day, found=("9.40", "9.10"), left=None)
        if pressure:
            body["conditions"]["barometric_pressure"] = measured(pressure, "hPa")
        store(body, technician, NOON)
    entries = series_of([Appliance.objects.get(id=appliance.id)])["co2", "high"][0].entries
    unread, thin = entries
    assert unread.found == pytest.approx(9.4)
    assert thin.found < 9.3
    assert thin.noise_scale < unread.noise_scale


def test_co_near_nothing_is_known_worse_than_co_far_up(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    for day, co in (("2025-03-02", "5"), ("2026-03-02", "200")):
        store(visit_body(boiler, person, analyser, day=day, co=co, left=None), technician, NOON)
    low, high = series_of([boiler])["co", "high"][0].entries
    assert low.noise_scale > 3 * high.noise_scale
    assert high.found == pytest.approx(math.log1p(high.found_raw or 0.0))


def test_calculated_co2_and_o2_are_one_series(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    body = visit_body(boiler, person, analyser)
    for each in body["readings"]:
        each["values"]["o2"] = measured("4.2", "%")
    store(body, technician)
    assert {quantity for quantity, _rate in series_of([boiler])} == {"co2", "co"}


@pytest.mark.parametrize(
    "change",
    [
        {"rate_proven_by": "not_proven"},
        {"sampling_point": "common_flue"},
        {"casing": "open"},
        {"steadiness": "not_steady"},
    ],
    ids=["unproven rate", "common_flue", "casing open against a closed target", "not_steady"],
)
def test_readings_that_prove_nothing_stay_out(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, change: dict[str, str]
) -> None:
    body = visit_body(boiler, person, analyser)
    body["readings"] = [each | change for each in body["readings"]]
    store(body, technician)
    assert series_of([boiler]) == {}


@pytest.mark.parametrize(
    ("targets_casing", "change"),
    [("closed", {"casing": None}), ("any", {"casing": "open"}), ("closed", {"steadiness": "not_shown"})],
    ids=["casing not recorded", "any casing", "steadiness not shown"],
)
def test_what_is_not_known_against_a_reading_leaves_it_in(
    boiler: Appliance,
    person: Person,
    analyser: Analyser,
    technician: User,
    manager: User,
    targets_casing: str,
    change: dict[str, str | None],
) -> None:
    appliance = with_targets(boiler, manager, {"casing": targets_casing})
    body = visit_body(appliance, person, analyser)
    for each in body["readings"]:
        each |= change
        if each["casing"] is None:
            del each["casing"]
    store(body, technician)
    assert len(series_of([appliance])["co2", "high"][0].entries) == 1


def test_another_range_begins_a_new_series(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    ranged = with_targets(boiler, manager, RANGE)
    live(ranged, person, analyser, technician, ["9.40", "9.30"])
    content = ranged.sheet.versions.get().content
    content["targets"][0]["upper"] = "9.8"
    add_sheet_version(
        sheet=ranged.sheet, content=read_sheet(content), actor=manager, now=NOON + timedelta(days=1), id=new_id()
    )
    series = series_of([Appliance.objects.get(id=ranged.id)])
    assert set(series) == {("co2", "low"), ("co", "high"), ("co", "low")}


def test_a_conversion_to_another_gas_keeps_only_what_was_left(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.30"])
    body = visit_body(boiler, person, analyser, day="2026-04-02", found=("8.10", "8.00"))
    body["work"][0] = {"kind": "gas_conversion", "after_reading": 2}
    store(body, technician, NOON + timedelta(days=31))
    entry = series_of([boiler])["co2", "high"][0].entries
    assert [(each.found_raw, each.left_raw, each.adjusted) for each in entry] == [(None, 9.4, True)]
    assert math.isnan(entry[0].found)


def test_a_conversion_without_a_reading_after_it_says_nothing(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    body = visit_body(boiler, person, analyser, left=None)
    body["work"] = [{"kind": "gas_conversion", "after_reading": 2}]
    store(body, technician)
    assert series_of([boiler]) == {}


def test_two_visits_of_one_day_stand_in_the_order_of_their_readings(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    """The morning's visit is sent after the evening's."""
    evening, morning = visit_body(boiler, person, analyser), visit_body(boiler, person, analyser)
    for each in evening["readings"]:
        each["taken_at"] = each["taken_at"].replace("T10", "T18")
    store(evening, technician)
    store(morning, technician)
    entries = series_of([boiler])["co2", "high"][0].entries
    assert [each.visit_id for each in entries] == [morning["id"], evening["id"]]


def test_another_target_begins_a_new_series(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    live(boiler, person, analyser, technician, ["9.40", "9.30"])
    other = make_sheet(manager, name="Other sheet")
    content = other.versions.get().content
    content["targets"][0]["value"] = "9.0"
    other.versions.update(content=content)
    Appliance.objects.filter(id=boiler.id).update(sheet=other)
    boiler.refresh_from_db()
    series = series_of([Appliance.objects.get(id=boiler.id)])
    assert ("co2", "high") not in series
    assert len(series["co2", "low"][0].entries) == 2
