"""How a visit turned out: one rule for judgement, lists, pages, paper and statement."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.assess.judging.outcomes import outcome_as_found, outcome_by_source, outcome_of
from fleet.assess.judging.visit_facts import facts_of_visit
from fleet.limits import Verdict
from fleet.models import Analyser, Appliance, Judgement, Person, Reading, User, Visit
from fleet.presentation.verdicts import set_words, source_rows
from fleet.presentation.words import turned_out
from fleet.queries.statements import statement_for
from tests.cast import measured, store, visit_body
from tests.limits.cast import make_verdict

RATES, PHASES = ("high", "low"), ("as_found", "as_left")
OUTCOMES = ("outside", "cannot_tell", "not_judged", "within")
OF_SET = {"stop_level": "Stop levels", "band": "Sheet", "limit": "A set"}


def row(kind: str, quantity: str, rate: str, phase: str, outcome: str) -> Verdict:
    fields = {
        "kind": kind, "set_id": kind, "set_name": OF_SET[kind], "set_version": "1", "review": "reviewed",
        "limit_id": f"{kind} {quantity}", "quantity": quantity, "label": [quantity, {}], "rank": 1,
        "stop": kind == "stop_level" and outcome == "outside", "rate": rate, "phase": phase, "outcome": outcome,
        "reading_key": str(1 + RATES.index(rate) + 2 * PHASES.index(phase)),
    }  # fmt: skip
    return make_verdict(**fields)


def readings(*phases: str) -> list[Reading]:
    return [Reading(rate=rate, counted_phase=phase) for phase in phases for rate in RATES]


ROWS = st.tuples(
    st.sampled_from([("stop_level", "co_ppm_air_free"), ("band", "o2"), ("limit", "co"), ("limit", "nox")]),
    st.sampled_from(RATES),
    st.sampled_from(PHASES),
    st.sampled_from(OUTCOMES),
).map(lambda drawn: row(*drawn[0], *drawn[1:]))


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(ROWS, max_size=12))
def test_nothing_is_within_where_co_was_not_judged_at_each_rate_by_any_of_the_ways_to_say_it(
    rows: list[Verdict],
) -> None:
    lines = [each for each in rows if each.kind == "stop_level"]
    judged = {(each.phase, each.rate) for each in lines if each.outcome == "within"}
    taken = readings(*PHASES)
    if outcome_of(rows, taken, ()).outcome == "within" or outcome_by_source(lines, taken) == "within":
        assert {rate for _phase, rate in judged} == set(RATES)
    if "within" in {outcome_as_found(rows, taken), outcome_by_source(lines, taken, as_found=True)}:
        assert {("as_found", rate) for rate in RATES} <= judged


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(ROWS, max_size=12))
def test_the_whole_is_outside_where_a_source_is_and_only_there(rows: list[Verdict]) -> None:
    taken = readings(*PHASES)
    by_source = {
        outcome_by_source([each for each in rows if each.kind == kind], taken) for kind in {each.kind for each in rows}
    }
    assert (outcome_of(rows, taken, ()).outcome == "outside") == ("outside" in by_source)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(ROWS, max_size=12))
def test_found_and_left_go_by_the_same_rule(rows: list[Verdict]) -> None:
    """What was judged as found says of a visit with nothing else how it was left as well."""
    found = [each for each in rows if each.phase == "as_found"]
    alone = readings("as_found")
    assert outcome_of(found, alone, ()).outcome == outcome_as_found(rows, readings(*PHASES))


def test_a_visit_that_read_nothing_as_found_says_nothing_of_it() -> None:
    left = [row("stop_level", "co_ppm_air_free", rate, "as_left", "within") for rate in RATES]
    assert outcome_as_found(left, readings("as_left")) == ""
    assert outcome_of(left, readings("as_left"), ()).outcome == "within"


# ---- the four places ----


def without_co(body: dict[str, Any], *numbers: int) -> None:
    for number in numbers:
        body["readings"][number - 1]["values"]["co"] = measured("0", "ppm", "not_measured")


@pytest.mark.parametrize(
    ("no_co_at", "found", "left"),
    [
        ((), "outside", "within"),
        ((1,), "outside", "within"),
        ((2, 4), "outside", "incomplete"),
        ((4,), "outside", "within"),
        ((1, 2, 3, 4), "outside", "incomplete"),
    ],
)
def test_lists_the_rows_of_page_and_paper_and_statements_say_the_same(
    body: dict[str, Any],
    boiler: Appliance,
    technician: User,
    manager: User,
    no_co_at: tuple[int, ...],
    found: str,
    left: str,
) -> None:
    without_co(body, *no_co_at)
    visit = Visit.objects.select_related("judgement").get(id=store(body, technician).id)
    assert (visit.judgement.verdicts["found"], visit.judgement.outcome) == (found, left)
    words = {"outside": "outside", "within": "within", "incomplete": "incomplete"}
    assert turned_out(visit) == f"found {words[found]}, left {words[left]}"

    facts = facts_of_visit(visit)
    rows = {each.source: (each.found, each.left) for each in source_rows(facts)}
    statement = statement_for(
        manager,
        building_id=boiler.building_id,
        begins=date(2026, 1, 1),
        ends=date(2026, 12, 31),
        today=date(2026, 12, 31),
    )
    (line,) = statement.lines
    for each in line.outcomes:
        _found, was_left = rows[f"{set_words(each.name)} v{each.version}"]
        assert was_left.removesuffix(" as recorded") == words.get(each.outcome, each.outcome)


# ---- read after the last work ----

CLEANED, RESEALED = {"kind": "cleaning"}, {"kind": "reseal"}
TURNED = {"kind": "adjustment", "adjuster": "ratio screw"}


@pytest.mark.parametrize(
    ("work", "numbers", "outcome"),
    [
        ([], (1, 2), "within"),
        ([], (1,), "incomplete"),  # low fire has a target and was never read
        ([CLEANED], (1, 2), "incomplete"),
        ([CLEANED | {"concerned": "burner"}], (1, 2), "incomplete"),
        ([CLEANED | {"concerned": "condensate_trap"}], (1, 2), "within"),
        ([CLEANED | {"concerned": "filter"}, {"kind": "part", "concerned": "electrode"}], (1, 2), "within"),
        ([{"kind": "part", "component": "fan"}], (1, 2), "incomplete"),
        ([RESEALED | {"concerned": "adjuster_cap"}], (1, 2), "within"),
        ([RESEALED | {"concerned": "case_seal"}], (1, 2), "incomplete"),
        ([{"kind": "nozzle"}], (1, 2), "incomplete"),
        ([{"kind": "other", "component": "label"}], (1, 2), "within"),
        ([TURNED], (1, 2), "incomplete"),
        ([TURNED], (1, 2, 3), "within"),  # the sheet says that this screw moves high fire alone
        ([{"kind": "adjustment", "adjuster": "a screw that no sheet names"}], (1, 2, 3), "incomplete"),
        ([TURNED | {"concerned": "adjuster_cap"}], (1, 2), "incomplete"),
        ([TURNED, RESEALED | {"concerned": "adjuster_cap", "after_reading": 4}], (1, 2, 3, 4), "within"),
        ([TURNED, CLEANED | {"after_reading": 4}], (1, 2, 3, 4), "incomplete"),
    ],
)
def test_within_is_earned_by_a_reading_after_the_last_work_that_can_move_it(
    boiler: Appliance,
    person: Person,
    analyser: Analyser,
    technician: User,
    work: list[dict[str, Any]],
    numbers: tuple[int, ...],
    outcome: str,
) -> None:
    body = visit_body(boiler, person, analyser, found=("9.40", "9.10"))
    body["readings"] = [body["readings"][number - 1] for number in numbers]
    body["work"] = [{"after_reading": min(2, len(numbers))} | each for each in work]
    judgement = store(body, technician).judgement
    assert judgement.outcome == outcome
    assert (_after_the_work(judgement) == []) == (outcome == "within" or not work)


def _after_the_work(judgement: Judgement) -> list[str]:
    return [rate for label, rate in judgement.turned_out.open_ends if label[0] == "reading_after_work"]


def test_what_was_outside_before_the_work_stays_outside_until_it_is_read_again(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    body = visit_body(boiler, person, analyser, found=("7.00", "9.10"), left=None)
    body["work"] = [CLEANED | {"after_reading": 2}]
    assert store(body, technician).judgement.outcome == "outside"


def test_left_as_found_is_how_it_was_left(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    body = visit_body(boiler, person, analyser, found=("9.40", "9.10"), left=None)
    visit = Visit.objects.select_related("judgement").get(id=store(body, technician).id)
    assert turned_out(visit) == "within, found and left"
    assert {each.left for each in source_rows(facts_of_visit(visit))} == {"within as recorded"}
