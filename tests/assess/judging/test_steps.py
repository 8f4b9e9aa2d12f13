"""How CO2 answered an adjuster: a step is learnt from only where nothing else can have moved it."""

import uuid
from types import SimpleNamespace
from typing import Any

import pytest

from fleet.assess.judging.steps import step_of, steps_taken
from fleet.limits import Step
from fleet.models import Analyser, Appliance, Person, User
from tests import cast
from tests.cast import store, visit_body

SCREWS: list[Any] = [SimpleNamespace(name="ratio screw", raises_co2="anticlockwise")]


# ---- from real visits ----


def turned(
    appliance: Appliance, person: Person, analyser: Analyser, turns: str | None = "0.125", **how: Any
) -> dict[str, Any]:
    """CO2 at high fire 8.90 as found, 9.40 as left; the ratio screw turned anticlockwise, which raises it."""
    body = visit_body(appliance, person, analyser, **how)
    if turns is not None:
        body["work"][0]["turns"] = turns
    return body


def changes(steps: list[Step]) -> list[tuple[float, float]]:
    return [(each.turns, round(each.change_pts, 3)) for each in steps]


def test_a_step_is_signed_by_the_way_that_raises_co2(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    store(turned(boiler, person, analyser), technician)
    closing = turned(boiler, person, analyser, day="2026-02-02", found=("9.80", "9.10"), left=("9.50", "9.10"))
    closing["work"][0]["direction"] = "clockwise"
    store(closing, technician)
    taken = steps_taken(boiler, "ratio screw")
    assert sorted(changes(taken.own)) == [(-0.125, -0.3), (0.125, 0.5)]
    assert (taken.model, taken.fleet) == ([], [])


def test_steps_of_the_model_and_of_the_fleet_stand_apart_by_appliance(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    other_sheet = cast.make_sheet(manager, name="Other sheet")
    same, strange = (cast.make_appliance(boiler.building, sheet, name)
                     for sheet, name in ((boiler.sheet, "Boiler 2"), (other_sheet, "Boiler 3")))  # fmt: skip
    for appliance, left in ((same, "9.20"), (same, "9.30"), (strange, "9.10")):
        day = f"2026-02-0{int(left[-2]) + 1}"
        store(turned(appliance, person, analyser, day=day, left=(left, "9.10")), technician)
    taken = steps_taken(boiler, "ratio screw")
    assert taken.own == []
    assert [sorted(changes(each)) for each in taken.model] == [[(0.125, 0.3), (0.125, 0.4)]]
    assert [[changes(each) for each in some] for some in taken.fleet] == [[[(0.125, 0.2)]]]


def test_of_its_own_sheet_only_the_same_adjuster_teaches(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    store(turned(boiler, person, analyser), technician)
    assert steps_taken(boiler, "offset screw").own == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda body: body["work"][0].pop("turns"),
        lambda body: body["work"][0].pop("direction"),
        lambda body: body["work"][0].update(adjuster="another screw"),
        lambda body: body["readings"][2].update(rate_proven_by="not_proven"),
        lambda body: body["readings"][2].update(steadiness="not_steady"),
        lambda body: body["readings"][0].update(sampling_point="common_flue"),
        lambda body: body["readings"][2].update(casing="open"),
        lambda body: body["work"].append({"kind": "cleaning", "after_reading": 2, "component": "burner"}),
    ],
)
def test_what_may_have_moved_for_another_reason_teaches_nothing(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, spoil: Any
) -> None:
    body = turned(boiler, person, analyser)
    spoil(body)
    store(body, technician)
    assert steps_taken(boiler, "ratio screw").own == []


# ---- one piece of work at a time ----


def reading(number: int, rate: str = "high", co2: float | None = 9.0, **changes: Any) -> tuple[Any, Any]:
    row = {"number": number, "rate": rate, "rate_proven": True, "sampling_point": "appliance_outlet",
           "casing": "closed", "steadiness": "not_shown"} | changes  # fmt: skip
    derived = SimpleNamespace(co2_pct=co2, steadiness=None, invalid=row.pop("invalid", ()))
    if "overall" in row:
        derived.steadiness = SimpleNamespace(overall=row.pop("overall"))
    return SimpleNamespace(**row), derived


def work(after: int, readings: list[tuple[Any, Any]], *others: Any, **changes: Any) -> Any:
    visit = SimpleNamespace(
        readings=SimpleNamespace(all=lambda: [row for row, _derived in readings]),
        work=SimpleNamespace(all=lambda: list(others)),
        judgement=SimpleNamespace(figures={row.number: derived for row, derived in readings}),
    )
    item = {"id": uuid.uuid4(), "visit": visit, "after_reading": after, "rate": "high", "adjuster": "ratio screw",
            "direction": "anticlockwise", "turns": 0.25} | changes  # fmt: skip
    return SimpleNamespace(**item)


def other(after: int, rate: str = "", moves: bool = True) -> Any:
    return SimpleNamespace(id=uuid.uuid4(), after_reading=after, rate=rate, moves_combustion=moves)


FOUR = [reading(1, co2=8.9), reading(2, "low"), reading(3, co2=9.4), reading(4, co2=9.6)]


def test_the_nearest_readings_at_its_rate_on_both_sides_are_compared() -> None:
    step = step_of(work(2, FOUR), SCREWS)
    assert step == Step(0.25, pytest.approx(0.5))
    assert step_of(work(3, FOUR), SCREWS) == Step(0.25, pytest.approx(0.2))
    assert step_of(work(4, FOUR), SCREWS) is None
    assert step_of(work(0, FOUR), SCREWS) is None


@pytest.mark.parametrize(
    ("between", "teaches"),
    [
        (other(2), False),
        (other(1, "high"), False),
        (other(2, "low"), True),
        (other(2, moves=False), True),
        (other(0), True),
        (other(3), True),
    ],
)
def test_other_work_between_them_at_this_rate_or_at_all_of_them_spoils_it(between: Any, teaches: bool) -> None:
    assert (step_of(work(2, FOUR, between), SCREWS) is not None) == teaches


@pytest.mark.parametrize(
    "spoilt", [{"co2": None}, {"invalid": ("pattern",)}, {"overall": False}, {"rate_proven": False}, {"casing": "open"}]
)
@pytest.mark.parametrize("number", [1, 3])
def test_a_reading_that_proves_nothing_teaches_nothing_before_or_after(number: int, spoilt: dict[str, Any]) -> None:
    readings = [reading(each, **(spoilt if each == number else {})) for each in (1, 3)]
    assert step_of(work(2, readings), SCREWS) is None
    assert step_of(work(2, [reading(1, overall=True), reading(3, overall=None)]), SCREWS) is not None


def test_an_adjuster_that_the_card_does_not_know_teaches_nothing() -> None:
    assert step_of(work(2, FOUR, adjuster="unknown"), SCREWS) is None
    assert step_of(work(2, FOUR, turns=0.0), SCREWS) is None
