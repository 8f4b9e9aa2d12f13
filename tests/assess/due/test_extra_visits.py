"""The extra visits: who gets one, in which week, and what stays listed beyond them."""

import itertools
import uuid
from collections import Counter
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.assess.due.extra_visits import Case, allot, monday

TODAY = date(2026, 3, 4)  # a Wednesday
DAYS = st.integers(-20, 60).map(lambda days: TODAY + timedelta(days=days))


def case(urgency: float, by: date, building: int = 0) -> Case:
    return Case(uuid.uuid4(), uuid.UUID(int=building or next(_NUMBERS)), urgency, by)


_NUMBERS = itertools.count(1000)


def test_the_more_urgent_goes_first_and_the_other_stays_beyond() -> None:
    mild, grave = case(1.3, TODAY), case(1.6, TODAY)
    allotted = allot([mild, grave], {}, 1, TODAY)
    assert allotted[grave.id].week == date(2026, 3, 2)
    assert not allotted[mild.id].is_within


def test_the_latest_week_that_will_do_is_taken_so_that_an_earlier_one_stays_free() -> None:
    later, sooner = case(1.9, TODAY + timedelta(days=9)), case(1.2, TODAY)
    allotted = allot([later, sooner], {}, 1, TODAY)
    assert (allotted[later.id].week, allotted[sooner.id].week) == (date(2026, 3, 9), date(2026, 3, 2))


def test_a_full_week_passes_a_case_on_to_one_before_it() -> None:
    by = TODAY + timedelta(days=9)
    first, second, third = (case(urgency, by) for urgency in (1.9, 1.8, 1.7))
    allotted = allot([first, second, third], {}, 1, TODAY)
    assert [allotted[each.id].week for each in (first, second)] == [date(2026, 3, 9), date(2026, 3, 2)]
    assert not allotted[third.id].is_within


def test_a_building_that_is_visited_anyway_needs_none() -> None:
    one = case(1.5, TODAY + timedelta(days=10), building=7)
    allotted = allot([one], {uuid.UUID(int=7): [TODAY + timedelta(days=10)]}, 0, TODAY)
    assert (allotted[one.id].is_within, allotted[one.id].week) == (True, None)
    assert not allot([one], {uuid.UUID(int=7): [TODAY + timedelta(days=11)]}, 0, TODAY)[one.id].is_within


def test_one_extra_visit_serves_all_of_its_building_that_end_later() -> None:
    sooner, later = case(1.9, TODAY, building=7), case(1.2, TODAY + timedelta(days=30), building=7)
    allotted = allot([later, sooner], {}, 1, TODAY)
    assert allotted[sooner.id].week == date(2026, 3, 2)
    assert (allotted[later.id].is_within, allotted[later.id].week) == (True, None)


def test_without_extra_visits_every_case_stays_beyond() -> None:
    assert not any(each.is_within for each in allot([case(1.5, TODAY)], {}, 0, TODAY).values())


CASES = st.lists(st.builds(case, st.floats(1.0, 1.99), DAYS, st.integers(1, 6)), max_size=14)


@given(CASES, st.integers(0, 3))
def test_no_week_takes_more_than_its_budget_and_none_lies_after_its_day(cases: list[Case], a_week: int) -> None:
    allotted = allot(cases, {}, a_week, TODAY)
    taken = Counter(each.week for each in allotted.values() if each.week)
    assert all(count <= a_week for count in taken.values())
    for each in cases:
        week = allotted[each.id].week
        assert week is None or monday(TODAY) <= week <= max(monday(each.by), monday(TODAY))


@given(st.lists(st.builds(case, st.floats(1.0, 1.99), DAYS), max_size=7), st.integers(0, 2))
def test_no_other_choice_of_weeks_serves_more_urgency(cases: list[Case], a_week: int) -> None:
    """Against every set of cases that can be served: weeks as unit jobs with last weeks (Hall's condition)."""
    within = {id for id, each in allot(cases, {}, a_week, TODAY).items() if each.is_within}
    weeks = {each.id: max((monday(each.by) - monday(TODAY)).days // 7, 0) for each in cases}

    def can_be(some: tuple[Case, ...]) -> bool:
        last = [weeks[each.id] for each in some]
        return all(sum(one <= week for one in last) <= a_week * (week + 1) for week in last)

    served = sum(each.urgency for each in cases if each.id in within)
    best = max(
        sum(each.urgency for each in some)
        for count in range(len(cases) + 1)
        for some in itertools.combinations(cases, count)
        if can_be(some)
    )
    assert served == pytest.approx(best)


@given(CASES, st.integers(0, 3))
def test_the_order_in_which_cases_come_decides_nothing(cases: list[Case], a_week: int) -> None:
    assert allot(cases, {}, a_week, TODAY) == allot(list(reversed(cases)), {}, a_week, TODAY)
