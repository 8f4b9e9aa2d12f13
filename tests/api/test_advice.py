"""Advice at the door while a test goes on: of the last reading, nothing stored, how far only once it was learned."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Analyser, Appliance, Person, Qualification, Record, User, Visit
from tests.cast import measured, reading, store, visit_body

pytestmark = pytest.mark.django_db

Ask = Callable[..., dict[str, Any]]


@pytest.fixture
def ask(field: APIClient, boiler: Appliance, person: Person, analyser: Analyser) -> Ask:
    """ask(reading, ..., work=[...]): the advice on the last of these readings."""

    def asked(*readings: dict[str, Any], **more: Any) -> dict[str, Any]:
        who = {"analyser": str(analyser.id), "person": str(person.id)}
        body = {"readings": [each | who for each in readings], **more}
        answer = field.post(f"/api/v1/appliances/{boiler.id}/advice", body)
        assert answer.status_code == 200, answer.content
        return dict(answer.json())

    return asked


def turned(turns: str, after: int = 1, direction: str = "anticlockwise") -> dict[str, Any]:
    return {"kind": "adjustment", "after_reading": after, "adjuster": "ratio screw", "rate": "high",
            "direction": direction, "turns": turns}  # fmt: skip


def taught(boiler: Appliance, person: Person, analyser: Analyser, technician: User) -> None:
    """Six visits that each turned the ratio screw by a quarter and gained half a point of CO2."""
    for n in range(6):
        day = date(2025, 3, 2) + timedelta(days=30 * n)
        body = visit_body(boiler, person, analyser, day=str(day), found=("8.90", "9.10"), left=(f"9.4{n}", "9.10"))
        body["work"][0]["turns"] = "0.25"
        store(body, technician)


def test_a_lean_reading_names_the_adjuster_and_the_way(ask: Ask) -> None:
    advice = ask(reading("as_found", "high", 5, co2="8.90"))
    assert (advice["action"], advice["adjuster"], advice["direction"]) == ("adjust", "ratio screw", "anticlockwise")
    assert advice["turns"] is None
    assert advice["derived"]["o2_pct"] is not None
    assert {each["kind"] for each in advice["verdicts"]} >= {"band", "stop_level"}


def test_nothing_is_stored(ask: Ask) -> None:
    before = Record.objects.count()
    ask(reading("as_found", "high", 5, co2="8.90"))
    assert (Record.objects.count(), Visit.objects.count()) == (before, 0)


def test_a_reading_in_its_band_needs_no_adjustment(ask: Ask) -> None:
    advice = ask(reading("as_found", "high", 5, co2="9.30"))
    assert advice["action"] == "none"
    assert "0.1" in advice["sentence"]


def test_a_stop_goes_before_all_advice(ask: Ask) -> None:
    assert ask(reading("as_found", "high", 5, co2="8.90", co="900"))["action"] == "stop"


def test_how_far_is_told_only_after_a_first_step_that_agrees(
    ask: Ask, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    taught(boiler, person, analyser, technician)
    first = reading("as_found", "high", 5, co2="8.70")
    before = ask(first)
    assert before["turns"] is None
    assert before["response"]["points_per_turn"] == pytest.approx(2.1, abs=0.2)
    after = ask(first, reading("between", "high", 9, co2="8.90"), work=[turned("0.1")])
    assert after["turns"] == pytest.approx((9.4 - 8.9) / 2.1, abs=0.06)
    assert after["turns_low"] <= after["turns"] <= after["turns_high"]


def test_a_first_step_the_other_way_withholds_advice(
    ask: Ask, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    taught(boiler, person, analyser, technician)
    first = reading("as_found", "high", 5, co2="8.80")
    advice = ask(first, reading("between", "high", 9, co2="8.50"), work=[turned("0.1")])
    assert advice["action"] == "withheld"
    assert "other way" in advice["withheld_reason"]


def test_who_is_not_qualified_is_told_so(ask: Ask) -> None:
    Qualification.objects.update(valid_to="2026-01-01")
    advice = ask(reading("as_found", "high", 5, co2="8.90"))
    assert (advice["action"], advice["direction"]) == ("withheld", None)


@pytest.mark.parametrize(
    ("body", "field_named"),
    [({"readings": []}, "readings"), ({}, "readings"), ({"readings": [{"rate": "high"}]}, "readings.0.phase")],
)
def test_what_cannot_be_read_is_refused_by_its_field(
    field: APIClient, boiler: Appliance, body: dict[str, Any], field_named: str
) -> None:
    refused = field.post(f"/api/v1/appliances/{boiler.id}/advice", body)
    assert refused.status_code == 422
    assert any(each.startswith(field_named) for each in refused.json()["errors"])


def test_a_series_that_has_not_come_to_rest_withholds_advice(ask: Ask) -> None:
    times = [str(second) for second in range(0, 61, 10)]
    restless = {"at_s": times, "co2": [f"{8.5 + 0.2 * n:.1f}" for n in range(len(times))], "co": ["40"] * len(times)}
    advice = ask(reading("as_found", "high", 5, co2="8.90") | {"series": restless})
    assert advice["action"] == "withheld"


def test_readings_with_odd_values_are_advised_on_all_the_same(ask: Ask) -> None:
    odd = reading("as_found", "high", 5, co2="8.90", values={"co": measured("2000", "ppm", "more_than")})
    assert ask(odd)["action"] == "stop"
