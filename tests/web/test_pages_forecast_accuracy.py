"""The page that holds forecasts against what was found: alarms in words, what they rest on, and for whom."""

import math
from datetime import date

import pytest

from fleet.models import Analyser, Appliance, ForecastCheck, Person, Snapshot, User, Visit
from fleet.services import forecasts
from tests.cast import NOON, store, visit_body
from tests.web.markup import words_of
from tests.web.opened import browser_of, opened, queries_of
from tests.web.world import Foreign, make_foreign

PAGE = "/forecasts/accuracy/"


@pytest.fixture
def snapshot(installation: User) -> Snapshot:
    made = forecasts.snapshot_in_force(quantity="co2", rate="high", now=NOON)
    Snapshot.objects.update(from_assumptions=False)
    return made


@pytest.fixture
def visit(boiler: Appliance, person: Person, analyser: Analyser, technician: User) -> Visit:
    return store(visit_body(boiler, person, analyser), technician)


def checked(
    visit: Visit, analyser: Analyser, snapshot: Snapshot, *, chance: float, count: int, outside: int, ahead: bool = True
) -> None:
    """So many readings of this chance, so many of them found outside: one a made-up rate, for they are one a visit."""
    ForecastCheck.objects.bulk_create(
        ForecastCheck(
            visit=visit, quantity="co2", rate=f"{chance} {ahead} {number}", day=visit.local_date, analyser=analyser,
            snapshot=snapshot, chance=chance, outside=number < outside, surprise=(-1.0) ** number, ahead=ahead,
        )
        for number in range(count)
    )  # fmt: skip


def test_before_any_reading_it_says_what_will_appear(dispatcher: User) -> None:
    page = words_of(opened(dispatcher, PAGE))
    assert "No forecast has been held against a reading yet." in page
    assert "When the records support a fit" in page


def test_forecasts_that_come_true_keep_what_they_say(
    dispatcher: User, visit: Visit, analyser: Analyser, snapshot: Snapshot
) -> None:
    checked(visit, analyser, snapshot, chance=0.08, count=200, outside=16)
    page = words_of(opened(dispatcher, PAGE))
    assert "The forecasts have come about as often as they said." in page
    assert "16 of 200 readings were found outside: 8.0 %, forecast 8.0 %." in page
    assert "Forecast before the visit, by figures learnt before it" in page
    assert "Analyser 1 200 0.00 1.00" in page


def test_a_share_that_is_not_the_chance_is_an_alarm_in_words(
    dispatcher: User, visit: Visit, analyser: Analyser, snapshot: Snapshot
) -> None:
    checked(visit, analyser, snapshot, chance=0.08, count=200, outside=60)
    page = words_of(opened(dispatcher, PAGE))
    assert "The forecasts of CO₂ have not come about as often as they said." in page
    assert "The forecasts are off: chances that are not the shares found." in page
    assert "30 % not as forecast" in page


def test_figures_that_rest_on_their_own_records_say_so(
    dispatcher: User, visit: Visit, analyser: Analyser, snapshot: Snapshot
) -> None:
    checked(visit, analyser, snapshot, chance=0.08, count=200, outside=16, ahead=False)
    page = words_of(opened(dispatcher, PAGE))
    assert "The forecasts fit the records that they were learnt from; none has been held against a later one" in page
    assert "Learnt from the same readings" in page
    assert "flatters the forecast" in page


def test_an_analyser_that_reads_high_is_named_and_its_appliances_are_not_blamed(
    dispatcher: User, analyser: Analyser, snapshot: Snapshot
) -> None:
    """A quarter is a fourth of 365.25 days, counted from the first day of the calendar."""
    begins = date.fromordinal(math.ceil(8105 * 365.25 / 4))
    Snapshot.objects.update(
        biases={
            "analyser": {str(analyser.id): [0.05, 0.02, 300]},
            "quarter": {f"{analyser.id}/8104": [0.0, 0.1, 9], f"{analyser.id}/8105": [0.16, 0.02, 64]},
            "site_day": {},
            "checks": {str(analyser.id): {"n": 50, "mean_z": 0.9, "score": 6.4, "alarm": True}},
        }
    )
    page = words_of(opened(dispatcher, PAGE))
    since = f"{begins.day} {begins:%b %Y}"
    assert f"Analyser 1 reads CO₂ 0.21 points high at high fire, over 64 readings since {since}." in page
    assert "its appliances are not at fault" in page
    assert f"Analyser 1 reads CO₂ 0.21 points high at high fire, over 64 readings since {since}." in words_of(
        opened(dispatcher, "/")
    )


def test_another_clients_readings_count_for_nobody_else(
    auditor: User,
    dispatcher: User,
    visit: Visit,
    boiler: Appliance,
    person: Person,
    analyser: Analyser,
    manager: User,
    snapshot: Snapshot,
) -> None:
    foreign: Foreign = make_foreign(boiler, person, analyser, manager)
    checked(visit, analyser, snapshot, chance=0.08, count=10, outside=1)
    checked(foreign.visit, analyser, snapshot, chance=0.3, count=10, outside=9)
    assert "1 of 10 readings" in words_of(opened(auditor, PAGE))
    assert "10 of 20 readings" in words_of(opened(dispatcher, PAGE))


def test_a_technician_is_refused(technician: User) -> None:
    assert browser_of(technician).get(PAGE).status_code == 403


def test_more_readings_take_no_more_queries(
    dispatcher: User, visit: Visit, analyser: Analyser, snapshot: Snapshot
) -> None:
    checked(visit, analyser, snapshot, chance=0.08, count=2, outside=1)
    few = queries_of(dispatcher, PAGE)
    checked(visit, analyser, snapshot, chance=0.3, count=40, outside=9)
    assert queries_of(dispatcher, PAGE) == few
