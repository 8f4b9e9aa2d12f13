"""In which order the readings of a visit were taken: by the clock where it was read for all of them."""

from typing import Any

from fleet.models import User
from fleet.services.taking import taken_order
from tests.cast import measured, store


def order(visit: Any) -> list[int]:
    return [taken_order(visit)[number] for number in (1, 2, 3, 4)]


def test_the_clock_goes_before_the_order_of_arrival(body: dict[str, Any], technician: User) -> None:
    for each, minute in zip(body["readings"], (30, 12, 22, 5), strict=True):
        each["taken_at"] = f"2026-03-02T10:{minute:02d}:00+00:00"
    assert order(store(body, technician)) == [4, 2, 3, 1]


def test_readings_of_one_minute_stay_as_numbered(body: dict[str, Any], technician: User) -> None:
    for each in body["readings"]:
        each["taken_at"] = "2026-03-02T10:05:00+00:00"
    assert order(store(body, technician)) == [1, 2, 3, 4]


def test_one_reading_without_a_time_leaves_the_numbers_to_say_it(body: dict[str, Any], technician: User) -> None:
    for each, minute in zip(body["readings"], (30, 12, 22, 5), strict=True):
        each["taken_at"] = f"2026-03-02T10:{minute:02d}:00+00:00"
    body["readings"][2] |= {"taken_at": "2026-03-02", "time_precision": "day"}
    assert order(store(body, technician)) == [1, 2, 3, 4]


def test_co_that_rises_by_the_clock_stops_though_the_readings_came_the_other_way_round(
    body: dict[str, Any], technician: User
) -> None:
    body["readings"], body["work"] = body["readings"][:2], []
    for each, minute, co in zip(body["readings"], (20, 5), ("130", "60"), strict=True):
        each |= {"rate": "high", "taken_at": f"2026-03-02T10:{minute:02d}:00+00:00"}
        each["values"] |= {"o2": measured("3.0", "%"), "co": measured(co, "ppm")}
    findings = store(body, technician).judgement.findings.filter(stop=True)
    assert [(each.quantity, each.reading) for each in findings] == [("co_trend_in_test", 1)]


def test_an_unsteady_reading_is_never_called_within(body: dict[str, Any], technician: User) -> None:
    for each in body["readings"]:
        each["steadiness"] = "not steady"
    rows = store(body, technician).judgement.verdicts["verdicts"]
    within = {each["quantity"] for each in rows if each["outcome"] == "within"}
    assert within <= {"ambient_co", "ambient_co_rise"}
    assert "the reading is not steady" in {each["reason"] for each in rows}
