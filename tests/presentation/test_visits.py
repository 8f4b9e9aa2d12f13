"""What a visit's lead and its frame say, whatever was found by however many sets."""

from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.limits import Verdict
from fleet.models import Visit
from fleet.presentation.visits import opening, stop_levels
from fleet.presentation.words import MOST_WORDS
from tests.limits.cast import make_verdict

SETS = ["Neutral profile (not a legal limit set)", "contract of a school", "a sheet with quite a long name of its own"]
LABELS: list[list[Any]] = [
    ["co_ppm_air_free", {}],
    ["co2", {}],
    ["nox", {"at_o2_pct": 3.0}],
    ["rate_gap", {"gas": "co2", "higher": "high", "lower": "low"}],
    ["ambient_co_8h", {}],
]

verdicts = st.builds(
    dict,
    outcome=st.sampled_from(["outside", "within", "not_judged"]),
    phase=st.sampled_from(["as_found", "as_left", "between"]),
    rate=st.sampled_from(["high", "low", "third of five", None]),
    label=st.sampled_from(LABELS),
    set_name=st.sampled_from(SETS),
    upper=st.sampled_from([100.0, 200.0, 400.0]),
    value=st.floats(401, 9000),
    evidence=st.sampled_from(["own", "unverified"]),
    review=st.sampled_from(["unreviewed", "reviewed"]),
    stop=st.booleans(),
)


def outside(**more: Any) -> Verdict:
    row = {
        "outcome": "outside", "phase": "as_found", "rate": "high", "label": ["co_ppm_air_free", {}], "quantity": "co",
        "value": 485.0, "unit": "ppm", "lower": None, "upper": 200.0, "set_name": "a set", "set_version": "1",
        "kind": "limit", "qualifier": "=", "evidence": "own", "review": "reviewed", "reviewed_by": "a person",
        "stop": True, "reading_key": "1", "limit_id": "x",
    } | more  # fmt: skip
    return make_verdict(**row, keeps=["at_most", {"upper": row["upper"]}])


def facts_of(*said: Verdict, outcome: str = "tested", why: str = "") -> Any:
    visit = Visit(outcome=outcome, outcome_reason=why, disposition="left_in_use", local_date=date(2026, 3, 2))
    readings = [SimpleNamespace(reading=SimpleNamespace(flame_unstable=False))]
    return SimpleNamespace(
        visit=visit,
        readings=readings,
        judgement=SimpleNamespace(said=said, turned_out=SimpleNamespace(before_work=["high"])),
    )


@given(st.lists(verdicts, max_size=40), st.sampled_from(["tested", "partly_tested"]), st.text("ab ", max_size=500))
def test_no_lead_is_longer_than_sixty_words(rows: list[dict[str, Any]], outcome: str, why: str) -> None:
    said = opening(facts_of(*(outside(**each) for each in rows), outcome=outcome, why=why))
    assert len(said.split()) <= MOST_WORDS
    assert "outside as recorded" in said or not any(
        each["outcome"] == "outside" and each["phase"] != "between" for each in rows
    )


@given(st.lists(verdicts, min_size=1, max_size=40))
def test_the_frame_names_each_figure_once_and_of_each_set_one_limit(rows: list[dict[str, Any]]) -> None:
    stops = [each | {"stop": True, "outcome": "outside"} for each in rows]
    lines = [
        each for each in stop_levels(facts_of(*(outside(**each) for each in stops))) if " outside as recorded " in each
    ]
    named = [each.partition(": ")[0] for each in lines]
    assert len(set(named)) == len(named)
    for line in lines:
        assert all(line.count(f"{name} v1") <= 1 for name in SETS)


def test_a_figure_read_twice_is_said_as_it_was_furthest_out() -> None:
    said = opening(facts_of(outside(value=485.0), outside(value=530.0), outside(value=529.0, upper=400.0)))
    assert said.startswith("As found, outside as recorded: CO air-free at high fire 530 ppm (limit ≤ 200 ppm). ")


def test_both_phases_alike_are_said_once_and_the_sets_come_last() -> None:
    rows = [outside(outcome="within", phase=phase, value=9.0) for phase in ("as_found", "as_left")]
    assert opening(facts_of(*rows)) == (
        "As found and as left, what could be judged was within its limits as recorded. "
        "Left in use on Monday 2 March 2026. Held against a set v1."
    )


@pytest.mark.parametrize(("rate", "stands"), [("high", False), ("low", True)])
def test_what_another_limit_judged_again_as_left_is_not_called_unread(rate: str, stands: bool) -> None:
    left = outside(outcome="within", phase="as_left", rate=rate, value=15.0, limit_id="other")
    assert ("Not judged again" in opening(facts_of(outside(), left))) is stands
