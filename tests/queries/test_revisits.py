"""What one attendance serves, and what is said of a proposal."""

import itertools
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from fleet.assess.due.revisits import served_together
from fleet.models import Revisit
from fleet.models.register import new_id
from fleet.presentation.revisits import beyond_words, set_words, together_words

TODAY = date(2026, 3, 4)


def revisit(earliest: int, latest: int, day: int | None = None) -> Revisit:
    """Days from today."""
    begins, ends = (TODAY + timedelta(days=each) for each in (earliest, latest))
    state = "proposed" if day is None else "confirmed"
    set_for = None if day is None else TODAY + timedelta(days=day)
    return Revisit(id=new_id(), earliest=begins, latest=ends, state=state, day=set_for)


def windows(groups: list[tuple[int, int]]) -> list[tuple[date, date]]:
    return [(TODAY + timedelta(days=begins), TODAY + timedelta(days=ends)) for begins, ends in groups]


def test_windows_that_meet_are_served_in_their_common_days() -> None:
    made = served_together([revisit(10, 40), revisit(20, 60), revisit(50, 70)], TODAY)
    assert [(each.begins, each.ends) for each in made] == windows([(20, 40), (50, 70)])
    assert [len(each.revisits) for each in made] == [2, 1]
    assert together_words(made[0]) == "Together from 24 March 2026 to 13 April 2026; costs no anniversary."
    assert together_words(made[1]) == "By itself from 23 April 2026 to 13 May 2026."


def test_a_day_that_is_set_stands_and_takes_along_what_is_open_on_it() -> None:
    made = served_together([revisit(0, 40, day=30), revisit(20, 60), revisit(31, 60)], TODAY)
    assert [(each.begins, each.ends) for each in made] == windows([(30, 30), (31, 60)])


def test_what_is_late_is_served_today_with_what_is_open() -> None:
    made = served_together([revisit(-30, -5), revisit(-10, 60), revisit(5, 60)], TODAY)
    assert [(each.begins, each.ends) for each in made] == windows([(0, 0), (5, 60)])


WINDOWS = st.lists(
    st.tuples(st.integers(-10, 30), st.integers(0, 30)).map(lambda each: revisit(each[0], each[0] + each[1])),
    max_size=7,
)


@given(WINDOWS)
def test_each_is_served_once_within_its_window(revisits: list[Revisit]) -> None:
    groups = served_together(revisits, TODAY)
    served = [one for each in groups for one in each.revisits]
    assert sorted(each.id for each in served) == sorted(each.id for each in revisits)
    for each in groups:
        assert TODAY <= each.begins <= each.ends
        for one in each.revisits:
            assert each.begins >= one.earliest
            assert each.ends <= max(one.latest, TODAY)


@given(WINDOWS)
def test_no_fewer_attendances_would_do(revisits: list[Revisit]) -> None:
    """Against every set of days: it is enough to look at the windows' last days."""
    spans = [(max(each.earliest, TODAY), max(each.latest, TODAY)) for each in revisits]
    ends = sorted({span[1] for span in spans})
    fewest = next(
        count
        for count in range(len(ends) + 1)
        for days in itertools.combinations(ends, count)
        if all(any(span[0] <= day <= span[1] for day in days) for span in spans)
    )
    assert len(served_together(revisits, TODAY)) == fewest


def test_the_accepted_risk_is_stated_with_its_day() -> None:
    told = Revisit(extra="beyond", accepted_risk=0.25, accepted_until=date(2026, 9, 1))
    words = "Beyond the 6 extra visits a week; accepted risk: 25 % before 1 September 2026."
    assert beyond_words(told, 6) == words
    assert beyond_words(Revisit(extra="within"), 6) == ""


def test_what_no_longer_fits_a_day_is_said() -> None:
    assert set_words(revisit(0, 40), TODAY) == ""
    assert set_words(revisit(0, 40, day=30), TODAY) == "Confirmed for 3 April 2026."
    assert set_words(revisit(0, 20, day=30), TODAY) == "Confirmed for 3 April 2026, now needed by 24 March 2026."
    over = set_words(revisit(-20, -2, day=30), TODAY)
    assert over == "Confirmed for 3 April 2026, though needed by 2 March 2026, which is over."
    late = set_words(revisit(-40, 20, day=-3), TODAY)
    assert late == "Confirmed for 1 March 2026; the day is over and nobody got to it."
