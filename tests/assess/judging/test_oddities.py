"""What is odd about a visit is accepted and marked for the office, never refused."""

from typing import Any

import pytest

from fleet.models import Analyser, Appliance, Person, User
from fleet.models.register import new_id
from fleet.presentation.follow_ups import question_words
from fleet.services.out_of_use import begin_out_of_use
from tests.cast import NOON, make_analyser, make_person, measured, store, visit_body


def codes(visit: Any) -> set[str]:
    return set(visit.questions.values_list("code", flat=True))


def test_an_ordinary_visit_has_no_mark(body: dict[str, Any], technician: User) -> None:
    assert codes(store(body, technician)) == set()


def test_an_analyser_past_its_calibration_is_marked(boiler: Appliance, person: Person, technician: User) -> None:
    lapsed = make_analyser(technician, valid_to="2026-03-01")
    assert "analyser_not_in_calibration" in codes(store(visit_body(boiler, person, lapsed), technician))


def test_calibration_on_its_last_day_still_counts(boiler: Appliance, person: Person, technician: User) -> None:
    last_day = make_analyser(technician, valid_to="2026-03-02")
    assert codes(store(visit_body(boiler, person, last_day), technician)) == set()


def test_a_person_without_the_qualification_on_the_day_is_marked(
    boiler: Appliance, analyser: Analyser, technician: User
) -> None:
    lapsed = make_person("Bo Test", None, technician, valid_to="2026-03-01")
    assert "person_not_qualified" in codes(store(visit_body(boiler, lapsed, analyser), technician))


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"data_plate": {"confirmed": True, "serial_seen": "OTHER"}}, "serial_differs"),
        ({"data_plate": {"confirmed": False}}, "plate_not_confirmed"),
        ({"work": []}, "left_differs_without_work"),
        ({"disposition": {"state": "left_in_use", "unsafe": True}}, "unsafe_left_in_use"),
        ({"card_seen": {"outcome": "within"}, "work": []}, "left_differs_without_work"),
    ],
)
def test_oddities_are_marked(body: dict[str, Any], technician: User, change: dict[str, Any], code: str) -> None:
    assert code in codes(store(body | change, technician))


def test_readings_at_two_rates_that_agree_to_the_last_digit_are_marked(body: dict[str, Any], technician: User) -> None:
    body["readings"][1]["values"] = dict(body["readings"][0]["values"])
    question = store(body, technician).questions.get(code="readings_identical")
    assert question.figures == {"readings": [1, 2]}


def test_impossible_values_are_stored_and_marked(body: dict[str, Any], technician: User) -> None:
    body["readings"][0]["values"]["co2"] = measured("94", "%")
    visit = store(body, technician)
    assert "value_implausible" in codes(visit)
    assert visit.readings.get(number=1).co2_pct == 94


def test_a_phone_that_showed_a_milder_verdict_is_marked(body: dict[str, Any], technician: User) -> None:
    body["readings"][2]["values"]["co2"] = measured("10.2", "%")
    assert "phone_was_milder" in codes(store(body | {"card_seen": {"outcome": "within"}}, technician))


def test_stop_level_as_left_and_left_in_use_is_marked(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    assert "stop_level_left_in_use" in codes(store(visit_body(boiler, person, analyser, co="900"), technician))


def test_as_found_after_work_is_marked(body: dict[str, Any], technician: User) -> None:
    body["work"][0]["after_reading"] = 0
    assert "as_found_after_work" in codes(store(body, technician))


def test_a_test_while_it_is_out_of_use_asks_for_the_restart(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    stood = {"begins": "2026-02-01", "why": "empty", "said_by": "the caretaker"}
    begin_out_of_use(appliance=boiler, content=stood, actor=manager, now=NOON, id=new_id())
    questions = store(body, technician).questions
    assert question_words(questions.get(code="tested_while_out_of_use")) == (
        "It was tested, but is recorded as out of use since 1 February 2026: record its restart."
    )
