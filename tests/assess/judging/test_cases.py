"""What the evaluator is given: the order of readings by the clock, and CO in the room, judged of its own."""

from typing import Any

import pytest

from fleet.assess.judging.cases import ambient_cases, taken_order
from fleet.limits import Verdict, evaluate
from fleet.models import User
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
        each["steadiness"] = "not_steady"
    rows = store(body, technician).judgement.verdicts["verdicts"]
    within = {each["quantity"] for each in rows if each["outcome"] == "within"}
    assert within <= {"ambient_co", "ambient_co_rise"}
    assert [["not_steady", {}]] in [each["reasons"] for each in rows]


# ---- CO in the room ----


def room(body: dict[str, Any], **values: dict[str, str]) -> dict[str, Any]:
    return body | {"conditions": values}


def not_tested(body: dict[str, Any]) -> dict[str, Any]:
    return body | {"outcome": "not_tested", "outcome_reason": "CO in the room", "readings": [], "work": []}


def ambient_stops(body: dict[str, Any], actor: User) -> list[Verdict]:
    visit = store(body, actor)
    return [each for each in evaluate(visit.judgement.table, ambient_cases(visit)).findings if each.stop]


@pytest.mark.parametrize("tested", [True, False])
@pytest.mark.parametrize(("when", "ppm"), [("before", "200"), ("after", "80")])
def test_co_in_the_room_stops_with_readings_at_0_and_without_any(
    body: dict[str, Any], technician: User, when: str, ppm: str, tested: bool
) -> None:
    sent = room(body if tested else not_tested(body), **{f"ambient_co_{when}": measured(ppm, "ppm")})
    (stop,) = ambient_stops(sent, technician)
    assert (stop.quantity, stop.value, stop.reading_key, stop.rate) == ("ambient_co", float(ppm), when, None)


def test_a_rise_from_before_to_after_stops(body: dict[str, Any], technician: User) -> None:
    sent = room(not_tested(body), ambient_co_before=measured("2", "ppm"), ambient_co_after=measured("7", "ppm"))
    assert [each.quantity for each in ambient_stops(sent, technician)] == ["ambient_co_rise"]


def test_an_instrument_that_gave_up_in_the_room_stops(body: dict[str, Any], technician: User) -> None:
    sent = room(not_tested(body), ambient_co_after=measured("20", "ppm", "more_than"))
    assert [each.quantity for each in ambient_stops(sent, technician)] == ["ambient_co"]


def test_what_was_not_read_in_the_room_is_no_case(body: dict[str, Any], technician: User) -> None:
    failed = {"value": "", "unit": "ppm", "qualifier": "sensor_fault"}
    assert ambient_cases(store(room(body, ambient_co_before=failed), technician)) == []


def phases(visit: Any) -> list[tuple[str, str]]:
    return [(each["key"], each["phase"]) for each in ambient_cases(visit)]


def test_after_is_as_left_only_beside_a_reading_as_left(body: dict[str, Any], technician: User) -> None:
    """Else the room alone would stand for how the burner was left."""
    assert phases(store(body, technician)) == [("before", "as_found"), ("after", "as_left")]


def test_after_is_as_found_where_nothing_was_read_as_left(body: dict[str, Any], technician: User) -> None:
    body["readings"], body["work"] = body["readings"][:2], []
    assert phases(store(body, technician)) == [("before", "as_found"), ("after", "as_found")]
