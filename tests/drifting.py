"""Appliances whose readings drift, for the tests of what is foreseen."""

from fleet.models import Analyser, Appliance, Person, User
from tests.cast import NOON, SHEET, make_appliance, make_sheet, measured, store, visit_body


def live(
    boiler: Appliance,
    person: Person,
    analyser: Analyser,
    actor: User,
    found: list[str],
    *,
    left: str | None = "9.40",
    air_c: list[str] | None = None,
    co: list[str] | None = None,
) -> None:
    """One visit each March: CO2 at high fire as found, set back to the target each time."""
    for number, value in enumerate(found):
        day = f"{2026 - len(found) + number + 1}-03-02"
        body = visit_body(
            boiler, person, analyser, day=day, found=(value, "9.10"), left=(left, "9.10") if left else None,
            co=co[number] if co else "40",
        )  # fmt: skip
        for each in body["readings"]:
            each["values"]["air_temp"] = measured(air_c[number] if air_c else "20.0", "degC")
        store(body, actor, NOON)


RANGE = {"value": None, "tolerance": None, "tolerance_basis": "range", "lower": "9.0", "upper": "9.6"}


def with_targets(boiler: Appliance, manager: User, changes: dict[str, str | None]) -> Appliance:
    """Another boiler whose sheet's targets are changed so; None takes a field away."""
    targets = [
        {name: value for name, value in (each | changes).items() if value is not None} for each in SHEET["targets"]
    ]
    sheet = make_sheet(manager, SHEET | {"targets": targets}, name="Changed targets")
    return make_appliance(boiler.building, sheet, "Boiler 7")
