"""What a visit says of an appliance as it was left: the last judged word of each limit at each rate."""

from collections.abc import Iterable
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.limits import standing
from tests.limits.cast import make_verdict


def row(number: int, phase: str | None, outcome: str, rate: str = "high", limit: str = "a") -> dict[str, Any]:
    return {
        "kind": "limit", "set_id": "s", "limit_id": limit, "quantity": "co", "rate": rate, "phase": phase,
        "reading_key": str(number) if phase else None, "outcome": outcome,
    }  # fmt: skip


def stands(rows: Iterable[dict[str, Any]]) -> list[Any]:
    return standing(make_verdict(**each) for each in rows)


def left(*rows: dict[str, Any]) -> list[tuple[str, str]]:
    return [(each.rate, each.outcome) for each in stands(rows)]


def test_as_left_takes_the_place_of_as_found_at_its_own_rate_only() -> None:
    found = [row(1, "as_found", "outside"), row(2, "as_found", "outside", "low")]
    assert left(*found, row(3, "as_left", "within")) == [("high", "within"), ("low", "outside")]


def test_silence_and_doubt_put_nothing_right() -> None:
    found = row(1, "as_found", "outside")
    assert left(found, row(2, "as_left", "not_judged")) == [("high", "outside")]
    assert left(found, row(2, "as_left", "cannot_tell")) == [("high", "outside")]


def test_the_last_reading_of_a_phase_counts() -> None:
    assert left(row(10, "as_left", "within"), row(9, "as_left", "outside")) == [("high", "within")]


def test_between_adjustments_counts_for_neither() -> None:
    assert left(row(1, "as_found", "within"), row(2, "between", "outside")) == [("high", "within")]


def test_a_limit_that_no_reading_met_stands_with_its_reason() -> None:
    assert left(row(0, None, "not_judged")) == [("high", "not_judged")]


outcomes = st.sampled_from(["outside", "within", "not_judged", "cannot_tell"])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.sampled_from(["as_found", "as_left", "between"]), outcomes), max_size=8))
def test_outside_stands_unless_something_judged_followed(readings: list[tuple[str, str]]) -> None:
    rows = [row(number, phase, outcome) for number, (phase, outcome) in enumerate(readings)]
    counted = sorted((each for each in rows if each["phase"] != "between"), key=lambda each: each["phase"] == "as_left")
    judged = [each["outcome"] for each in counted if each["outcome"] in ("outside", "within")]
    said = {each.outcome for each in stands(rows)}
    assert said == ({judged[-1]} if judged else {counted[-1]["outcome"]} if counted else set())


def test_in_the_room_the_worst_of_a_state_counts() -> None:
    found = [row(1, "as_found", "outside") | {"rate": None}, row(2, "as_found", "within") | {"rate": None}]
    assert left(*found) == [(None, "outside")]
    assert left(*reversed(found)) == [(None, "outside")]
    assert left(*found, row(3, "as_left", "within") | {"rate": None}) == [(None, "within")]
    assert left(row(1, "as_found", "within") | {"rate": None}, found[0] | {"reading_key": "2"}) == [(None, "outside")]
    assert left(row(1, "as_found", "outside"), row(2, "as_found", "within")) == [("high", "within")]


def test_each_limit_stands_for_itself() -> None:
    plain = row(1, "as_found", "within")
    others = [plain | {name: "other"} for name in ("kind", "set_id", "limit_id", "quantity", "rate")]
    assert len(stands([plain, *others])) == 6


def test_readings_are_followed_by_their_number_not_by_its_letters() -> None:
    assert left(row(9, "as_found", "within"), row(10, "as_found", "outside")) == [("high", "outside")]
    assert left(row(10, "as_found", "outside"), row(9, "as_found", "within")) == [("high", "outside")]
    worded = row(1, "as_found", "within") | {"reading_key": "r1"}
    assert left(row(2, "as_found", "outside"), worded) == [("high", "outside")]
    assert left(worded, row(0, "as_found", "outside")) == [("high", "outside")]


def test_what_has_no_phase_comes_before_all_that_has() -> None:
    unmet = row(0, None, "not_judged")
    assert left(row(1, "as_found", "not_judged"), unmet) == [("high", "not_judged")]
    assert stands([row(1, "as_found", "cannot_tell"), unmet])[0].outcome == "cannot_tell"
    assert stands([row(5, "as_left", "within"), row(9, "as_found", "outside")])[0].outcome == "within"


def test_a_reading_as_found_without_a_number_still_comes_after_what_has_no_phase() -> None:
    unmet = row(0, None, "not_judged")
    assert [each.outcome for each in stands([row(0, "as_found", "cannot_tell"), unmet])] == ["cannot_tell"]


def test_what_a_readings_series_condemned_stands_after_the_reading_and_before_the_next() -> None:
    plain = row(1, "as_found", "within")
    series = row(1, "as_found", "outside") | {"reading_key": "1 series"}
    assert left(plain, series) == left(series, plain) == [("high", "outside")]
    assert left(row(2, "as_found", "within"), series, plain) == [("high", "within")]
    assert left(row(0, "as_found", "within"), series) == [("high", "outside")]
