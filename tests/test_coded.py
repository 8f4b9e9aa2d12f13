"""A code with its figures is JSON all through, whatever it was made of."""

import json
from datetime import date, datetime

from hypothesis import given
from hypothesis import strategies as st

from fleet.coded import as_rows, coded

_FIGURES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.lists(inner, max_size=3).map(tuple),
    max_leaves=6,
)


@given(st.dictionaries(st.sampled_from("abc"), _FIGURES))
def test_what_is_kept_comes_back_from_json_as_it_went_in(figures: dict[str, object]) -> None:
    said = [coded("late", **figures), coded("early")]
    rows = as_rows(said)
    assert json.loads(json.dumps(rows)) == rows
    assert [(code, kept) for code, kept in rows] == said


def test_days_are_iso_text_however_deep_and_codes_within_are_lists() -> None:
    inner = coded("no_test", on=date(2026, 3, 2))
    assert coded("waits", since=date(2025, 12, 31), why=(inner, inner), days=2) == (
        "waits",
        {"since": "2025-12-31", "why": [["no_test", {"on": "2026-03-02"}]] * 2, "days": 2},
    )


def test_a_moment_keeps_its_time() -> None:
    assert coded("told", at=datetime(2026, 3, 2, 9, 41))[1] == {"at": "2026-03-02T09:41:00"}
