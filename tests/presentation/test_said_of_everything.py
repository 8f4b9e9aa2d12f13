"""Whatever rule, set, forecast or advice there is: it is said in sentences that show nothing of how it is kept."""

import json
from collections.abc import Iterator
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.assess.foresight.forecasts import Told
from fleet.assess.judging.diagnosing import patterns
from fleet.intervals import next_due, what_if
from fleet.limits import Advice, Verdict, evaluate
from fleet.models import Flag, Question, Revisit
from fleet.presentation import contents
from fleet.presentation.advice import advice_words, turn_words, withheld_words
from fleet.presentation.due_dates import date_words, doubt_words, undecided_words, what_if_words
from fleet.presentation.follow_ups import closed_words, flag_words, question_words
from fleet.presentation.forecasts import drift_words, forecast_words, warning_words
from fleet.presentation.intervals import set_interval_lines
from fleet.presentation.revisits import reason_words, together_words, urgency_words
from fleet.presentation.verdicts import asked_words, finding_row, value_words, verdict_sentence, what_words
from tests.intervals.rules_of_each_kind import RULES
from tests.limits.cast import make_card, make_verdict, reading
from tests.presentation.sentences import faults_of, is_whole

REFERENCE = Path(__file__).resolve().parents[2] / "fixtures" / "reference"
SETS = [
    each for each in json.loads((REFERENCE / "limit_sets.json").read_text())["profiles"] if each["kind"] != "target"
]
DAY = date(2026, 3, 2)
DAYS = st.integers(-1500, 1500).map(lambda days: DAY + timedelta(days=days))


def verdict(**fields: Any) -> Verdict:
    """CO of 310 ppm as found, outside a limit of 250 ppm."""
    named = ("kind", "limit_id", "basis", "severity", "action", "set_name", "set_version", "review")
    co = {"label": ["co", {}], "quantity": "co", "unit": "ppm", "value": 310.0, "upper": 250.0, "outcome": "outside"}
    plain = dict.fromkeys(named, "") | co | {"qualifier": "=", "phase": "as_found"}
    return make_verdict(**plain | {"evidence": "official_text_read", "set_name": "A set", "set_version": "1"} | fields)


# ---- due dates, by every kind of rule ----

MORE_RULES = [
    {"type": "none"},
    {"type": "once", "by": "2027-09-30"},
    {"type": "once", "event": "installation", "months": 24, "from_months": 12},
    {"type": "days_after_event", "days": 30, "event": "repair"},
    {"type": "max_months", "months": 12, "again_after": {"event": "burner_change", "months": 4}},
    {"type": "max_months", "months": 12, "variants": [{"select": {"output_kw_gt": 25}, "months": 6}]},
    {"type": "calendar_years", "every": 1, "grace": {"if_not_operating_on_due_date": {"days": 7}}},
    {"type": "max_months", "months": 25, "component_defer_months": {"burner_inspection": 36}},
    {"type": "max_months", "months": 12, "select": {"low_use": True}},
]
ALL_RULES = [*RULES, *MORE_RULES]
FACTS = st.fixed_dictionaries(
    {},
    optional={
        "low_use": st.booleans(),
        "output_kw": st.integers(4, 400),
        "installation_on": DAYS.map(date.isoformat),
        "burner_change_on": DAYS.map(date.isoformat),
        "repair_on": DAYS.map(date.isoformat),
        "run_hours": st.lists(st.tuples(DAYS, st.integers(0, 90_000)), max_size=3, unique_by=lambda each: each[0]).map(
            lambda rows: [{"date": day.isoformat(), "run_hours": hours} for day, hours in rows]
        ),
        "out_of_use": DAYS.map(lambda day: [{"from": day.isoformat(), "to": None}]),
    },
)


@settings(max_examples=80)
@given(st.sampled_from(ALL_RULES), st.lists(DAYS, max_size=3), st.none() | DAYS, FACTS, DAYS)
def test_a_date_by_any_rule_is_said_whole(
    rule: dict[str, Any], history: list[date], start: date | None, facts: dict[str, Any], today: date
) -> None:
    due = next_due(rule, history, start=start, today=today, facts=facts)
    said = date_words(due.steps)
    assert is_whole(said)
    assert faults_of(said) == [], said
    if due.cannot_tell:
        doubt = doubt_words(due.cannot_tell)
        assert doubt and faults_of(doubt) == [], doubt
        assert is_whole(f"{undecided_words('By flue', due.due, due.cannot_tell)}.")
    else:
        assert undecided_words("By flue", due.due, due.cannot_tell) == ""
    until_today = [each for each in history if each <= today]
    answer = what_if_words(what_if(rule, until_today, today, start=start, facts=facts))
    assert faults_of(answer, most_words=160) == [], answer


# ---- sets and what is judged by them ----


@pytest.fixture(scope="module")
def verdicts() -> list[Verdict]:
    """Of readings that keep most limits and of some that break them, by every set that is shipped."""
    found: list[Verdict] = []
    plain = {
        "key": "1",
        "o2_pct": 4.6,
        "flue_temp_c": 61.0,
        "ambient_co_ppm": 2.0,
        "draught_pa": -4.0,
        "phase": "as_found",
    }
    bad = plain | {"key": "2", "co_ppm": 1900.0, "ambient_co_ppm": 60.0, "co2_pct": 6.2, "phase": "as_left"}
    bad |= {"smoke_spot": 4.0, "nox_ppm": 400.0, "flue_temp_c": 290.0, "draught_pa": 6.0}
    for key in (each["id"] for each in SETS):
        facts = {"fuel": "natural_gas", "output_kw": 300}
        for card in (make_card(key), make_card(key, facts=facts)):
            found += evaluate(card, [reading(**plain), reading(**bad)]).verdicts
    return found


def test_every_outcome_and_kind_is_among_them(verdicts: list[Verdict]) -> None:
    assert {each.outcome for each in verdicts} == {"within", "outside", "not_judged", "cannot_tell"}
    assert {each.kind for each in verdicts} >= {"band", "ceiling", "limit", "stop_level"}


def test_a_verdict_is_one_sentence_of_at_most_sixty_words(verdicts: list[Verdict]) -> None:
    faults = {said: found for each in verdicts if (found := faults_of(said := verdict_sentence(each), most_words=60))}
    assert faults == {}


def test_a_finding_s_cells_hold_no_code(verdicts: list[Verdict]) -> None:
    faults: dict[str, Any] = {}
    for each in verdicts:
        row = finding_row(each)
        for said in (row.what, row.basis, row.value, row.limit, row.source, row.standing, row.asked):
            if found := faults_of(said):
                faults[said] = found
    assert faults == {}


def test_what_is_read_is_named_without_and_with_its_phase(verdicts: list[Verdict]) -> None:
    assert {what_words(each) for each in verdicts if not each.phase} == {
        what_words(each, with_phase=False) for each in verdicts if not each.phase
    }
    assert all(what_words(each) != what_words(each, with_phase=False) for each in verdicts if each.phase)


@given(
    st.floats(0, 2000), st.integers(1, 2000), st.sampled_from(["co", "co_ppm_air_free", "o2", "co2", "co_co2_ratio"])
)
def test_a_value_never_looks_like_the_limit_that_it_breaks(value: float, limit: int, quantity: str) -> None:
    """T22: what is outside must not read as if it stood on the limit."""
    shown, on_it = (verdict(value=each, upper=float(limit), quantity=quantity) for each in (value, float(limit)))
    assert value_words(shown) != value_words(on_it) or abs(value - limit) < 1e-6


def test_what_to_do_is_said_in_the_source_s_words_with_its_grade_beside_them() -> None:
    assert asked_words(verdict(severity="shut_down", action="Label it.")) == "Label it (grade: shut down)."
    assert asked_words(verdict(severity="adjust", action="call the office")) == "Call the office (grade: adjust)."
    assert asked_words(verdict(severity="adjust", action="")) == "Adjust."


@pytest.mark.parametrize("content", SETS, ids=lambda each: str(each["id"]))
def test_a_shipped_set_is_told_in_words(content: dict[str, Any]) -> None:
    said = [*set_interval_lines(content), *(contents.source_words(each) for each in content["sources"])]
    for limit in content["limits"]:
        said += [contents.kept_words(limit), contents.limit_label(limit)]
        said += [contents.select_words(limit["select"])] if limit.get("select") else []
    assert all(said)
    faults = {each: found for each in said if (found := [one for one in faults_of(each) if one.startswith("a code")])}
    assert faults == {}


def test_two_contents_that_say_the_same_differ_in_nothing() -> None:
    for content in SETS:
        assert contents.limit_set_differences(content, json.loads(json.dumps(content))) == []


@pytest.mark.parametrize("pattern", patterns(), ids=lambda each: str(each["id"]))
def test_what_a_pattern_suggests_is_written_without_codes(pattern: dict[str, Any]) -> None:
    for said in (pattern["title"], *pattern["causes"], *pattern["checks"]):
        assert faults_of(said, most_words=60) == [], said


# ---- forecasts and warnings ----

CEILING = {
    "set_name": "A contract",
    "label": ["co_ppm_air_free", {}],
    "keeps": ["at_most", {"upper": 250.0}],
    "unit": "ppm",
}
TOLD = st.fixed_dictionaries(
    {
        "quantity": st.sampled_from(["co2", "o2", "co", "temp_rise"]),
        "rate": st.sampled_from(["high", "low"]),
        "visits": st.integers(1, 30),
        "pace": st.floats(-60, 60),
        "model_pace": st.none() | st.floats(-60, 60),
        "accepted_risk": st.floats(0.0001, 0.9999),
        "limit": st.sampled_from([None, CEILING]),
        "is_lower": st.booleans(),
        "lower": st.just(9.0),
        "upper": st.just(9.8),
        "unit": st.sampled_from(["%", "ppm", "K"]),
        "is_due": st.booleans(),
        "horizon_on": st.sampled_from([None, "2027-03-14"]),
    }
)


@given(TOLD, st.floats(0, 1))
def test_a_forecast_names_a_chance_and_never_certainty(told: dict[str, Any], chance: float) -> None:
    for said in (
        forecast_words(Told(**told)),
        drift_words({"forecast": told, "planned": "2027-03-14", "chance": chance}),
    ):
        assert faults_of(said, most_words=60) == [], said
        assert said.endswith(".")
        assert "a chance of " in said
        assert not {"100 %", "likely", "certainly", "-"} & set(said.split())
        # A pace that rounds to nothing is said as nothing.
        assert "−0 %" not in said and " 0.00 points a year" not in said


@pytest.mark.parametrize("cause", ["doubtful", "step", "far", "same_side"])
@pytest.mark.parametrize("z", [-4.2, 4.2])
def test_a_warning_asks_for_the_reading_again_and_says_on_which_side(cause: str, z: float) -> None:
    said = warning_words({"cause": cause, "quantity": "co2", "rate": "low", "z": z})
    assert faults_of(said, most_words=60) == []
    assert "repeat the reading" in said
    if cause != "step":
        assert (" above " in said, " below " in said) == (z > 0, z < 0)


# ---- flags, questions and reasons ----

CLOSED = [
    "within_again",
    "set_ended",
    "out_of_service",
    "visit_moved",
    "series_ended",
    "from_assumptions",
    "chance_fell",
]


@pytest.mark.parametrize("why", CLOSED)
def test_why_a_flag_was_closed_is_a_sentence(why: str) -> None:
    said = closed_words(Flag(closed_figures={"why": why, "day": "2026-03-02", "chance": 0.07}))
    assert is_whole(said) and faults_of(said) == [], said


def test_an_open_flag_has_no_reason_and_a_person_s_stands_as_written() -> None:
    assert closed_words(Flag()) == ""
    assert closed_words(Flag(closed_why="retested by Ada")) == "retested by Ada"


def test_a_flag_says_what_opened_it() -> None:
    figures = {"verdict": dict(vars(verdict()))}
    said = {
        "finding": flag_words(Flag(kind="outside_a_limit", figures=figures)),
        "put right": flag_words(Flag(kind="stop_level", figures=figures | {"put_right": True})),
        "unread": flag_words(Flag(kind="unsafe", figures={"unreadable_record": "x"})),
        "declared": flag_words(Flag(kind="unsafe", figures={})),
    }
    assert said["finding"].startswith("CO 310 ppm")
    assert said["put right"] == f"{said['finding']} Put right at the same visit."
    assert "could not be read" in said["unread"]
    assert said["declared"] == "declared unsafe by the technician"
    assert [each for one in said.values() for each in faults_of(one)] == []


def test_a_question_is_said_by_what_raised_it() -> None:
    asked = [
        Question(code="no_sheet", figures={}),
        Question(code="repeat_co2_high", figures={"cause": "step", "quantity": "co2", "rate": "high", "z": None}),
        Question(code="pattern_dx22", figures={"equal_quantities": 5, "named": {}}),
    ]
    said = [question_words(each) for each in asked]
    assert len(set(said)) == 3
    assert [each for one in said for each in faults_of(one, most_words=60)] == []


REASONS: list[list[Any]] = [
    ["required_check", {"name": "Yearly check", "steps": [["no_interval", {}]]}],
    ["retest", {"limit_set": "A contract", "steps": [["days_after_event", {"days": 1, "event": "repair",
                                                                         "event_on": "2026-03-02",
                                                                         "due_on": "2026-03-03"}]]}],
    ["undecided", {"name": "By flue", "doubts": [["no_start", {}]]}],
    ["nothing_left", {"day": "2026-06-09"}],
    ["flag", {"sentence": "Smell of gas.", "figures": {}}],
]  # fmt: skip


@pytest.mark.parametrize("why", REASONS, ids=lambda each: str(each[0]))
def test_why_to_come_is_said(why: list[Any]) -> None:
    said = reason_words(why)
    assert said and faults_of(said, most_words=60) == [], said


def test_one_day_and_several_days_are_told_apart() -> None:
    assert "1 day after repair" in reason_words(REASONS[1])
    two = reason_words(["retest", {"limit_set": "A", "steps": [["days_after_event", {**REASONS[1][1]["steps"][0][1],
                                                                                     "days": 2}]]}])  # fmt: skip
    assert "2 days after repair" in two


GRAVEST = ["unsafe", "stop_level", "outside_a_limit", "retest", "co", "drift", "defect", "required_check"]


@pytest.mark.parametrize("gravest", GRAVEST)
@pytest.mark.parametrize("planned", [None, "2027-01-01"])
def test_what_is_gravest_has_words_of_its_own(gravest: str, planned: str | None) -> None:
    said = urgency_words({"gravest": gravest, "chance": 0.001, "planned": planned})
    assert faults_of(said) == []
    assert "a chance of under 1 % of being outside" in said
    assert said.endswith("before 1 January 2027" if planned else "in a year")
    assert len({urgency_words({"gravest": each, "chance": 0, "planned": None}) for each in GRAVEST}) == len(GRAVEST)


@pytest.mark.parametrize(("count", "begins"), [(1, DAY), (1, DAY - timedelta(days=3)), (2, DAY), (3, date(2026, 1, 1))])
def test_one_attendance_is_by_itself_or_together_on_a_day_or_in_a_stretch(count: int, begins: date) -> None:
    said = together_words(SimpleNamespace(revisits=(Revisit(),) * count, begins=begins, ends=DAY))  # type: ignore[arg-type]
    assert said.startswith("By itself" if count == 1 else "Together")
    assert ("costs no anniversary" in said) == (count > 1)
    assert (" on 2 March 2026" in said, " to 2 March 2026" in said) == (begins == DAY, begins != DAY)
    assert is_whole(said)


# ---- advice ----

WITHHELD = ["no_target", "self_adapting", "no_adjuster", "check_only", "not_qualified", "co_not_read", "other_way"]


def advised() -> Iterator[Advice]:
    target = {"kind": "band", "label": ["co2", {}], "quantity": "co2", "unit": "%", "lower": 9.1, "upper": 9.7}
    band = verdict(**target, value=9.2, rate="high", outcome="within", keeps=["from_to", {"lower": 9.1, "upper": 9.7}])
    finding = verdict(action="stop at once.")
    for code in WITHHELD:
        yield Advice("withheld", None, None, code, {"rate": "high", "adjuster": "ratio screw"})
    yield Advice("withheld", None, None, "not_judged", {"verdict": verdict(reasons=[["rate_not_proven", {}]])})
    yield Advice("stop", None, None, figures={"verdict": finding})
    for target in (9.2, 9.4, 9.1, None):
        yield Advice("none", None, None, figures={"verdict": band, "target": target})
    for code in ("co_is_out", "order_is_broken"):
        yield Advice("investigate", None, None, code, {"verdict": band, "target": 9.4, "finding": finding})


def test_all_advice_is_said_in_whole_sentences() -> None:
    for each in advised():
        said = advice_words(each)
        assert is_whole(said) and faults_of(said, most_words=80) == [], said
        assert (withheld_words(each) is None) == (each.action != "withheld")
        # T41: where something is amiss the cause comes first, and nothing is turned.
        assert not any(word in said for word in (" turn ratio", "clockwise"))


@given(st.floats(0.001, 6), st.none() | st.floats(1 / 16, 2))
def test_a_turn_is_told_in_sixteenths_and_never_beyond_the_largest_step(turns: float, largest: float | None) -> None:
    said = turn_words(turns, largest)
    number, unit = said.rsplit(" ", 1)
    if number.startswith("less than"):
        assert min(turns, largest or turns) < 3 / 32
        return
    whole = float(sum(Fraction(part) for part in number.split()))
    assert (whole * 16).is_integer()
    assert largest is None or whole <= largest
    assert abs(whole - turns) <= 1 / 32 or whole == (largest or 0) // (1 / 16) / 16
    assert unit == ("turn" if whole <= 1 else "turns")
