"""The start page: what it opens with, what is framed, and answering for a flag."""

from typing import Any

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings

from fleet.coded import coded
from fleet.models import Analyser, Appliance, Client, Contractor, Flag, Forecast, Person, User
from fleet.queries.attention import attention_for
from fleet.services.flags import acknowledge_flag
from fleet.services.visits import keep_unreadable
from fleet.web.attention import opening
from tests.cast import NOON, make_appliance, make_building, measured, store
from tests.web.markup import main_of
from tests.web.opened import checked, opened, sent
from tests.web.world import add_yearly_required_check, called_unsafe, may_be_outside, visited


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()


@pytest.fixture
def unsafe(boiler: Appliance, person: Person, analyser: Analyser, technician: User) -> Flag:
    return called_unsafe(boiler, person, analyser, technician)


def test_nothing_at_all_says_what_will_appear_and_what_to_do(dispatcher: User) -> None:
    page = main_of(opened(dispatcher, "/"))
    assert "Monday 2 March: nothing waits" in page
    assert "Appliances appear here when" in page


def test_a_quiet_day_names_the_next_thing_with_a_date(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    add_yearly_required_check(boiler, dispatcher)
    visited(boiler, person, analyser, dispatcher)
    page = main_of(opened(dispatcher, "/"))
    assert "Nothing is unsafe, outside a limit or due." in page
    assert "The next thing with a date is Boiler 1, Weir House, on Tuesday 2 March 2027." in page


def test_unsafe_is_framed_first_with_who_was_told(unsafe: Flag, dispatcher: User) -> None:
    page = main_of(opened(dispatcher, "/"))
    assert "Monday 2 March: one unsafe or at stop level" in page
    assert "Declared unsafe, nobody has answered for it yet" in page
    assert "spilling into the room." in page
    assert "Told on the spot: the caretaker." in page
    assert page.index('class="stop') < page.index('class="ask"')


def test_several_unsafe_appliances_stand_one_by_one(
    unsafe: Flag, boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    called_unsafe(make_appliance(boiler.building, boiler.sheet, "Boiler 2"), person, analyser, dispatcher)
    page = main_of(opened(dispatcher, "/"))
    assert "two unsafe or at stop level" in page
    assert page.count('class="stop') == 2


def test_choosing_a_client_never_hides_what_is_unsafe(unsafe: Flag, dispatcher: User) -> None:
    other = Client.objects.create(name="Quiet client")
    assert "Declared unsafe" in opened(dispatcher, f"/?client={other.id}&within=7")


def test_stop_level_shows_its_reading_against_the_line(body: dict[str, Any], technician: User) -> None:
    for each in body["readings"]:
        each["values"]["co"] = measured("2000", "ppm", "more_than")
    store(body, technician)
    page = main_of(opened(technician, "/"))
    assert "Stop level, nobody has answered for it yet" in page
    assert "more than" in page
    assert '<b class="outside">outside</b> the limits of' in page
    assert 'class="rule"' in page


def test_what_is_framed_has_no_row_and_says_what_it_says_once(body: dict[str, Any], technician: User) -> None:
    for each in body["readings"]:
        each["values"]["co"] = measured("2000", "ppm", "more_than")
    body["disposition"] = {"state": "isolated", "unsafe": True, "details": {"reason": "CO rising", "labelled": True}}
    of = store(body, technician).appliance
    Flag.objects.create(appliance=of, kind=Flag.Kind.OUTSIDE, key="low co2", opened_at=NOON, updated_at=NOON)
    assert {"unsafe", "stop_level", "outside_a_limit"} == set(Flag.objects.values_list("kind", flat=True))
    page = main_of(opened(technician, "/"))
    assert "Monday 2 March: one unsafe or at stop level</h1>" in page
    assert "Outside a limit" not in page
    assert "1 finding more of this appliance" in page
    framed = page[: page.index('class="ask"')]
    assert framed.count("It was isolated and labelled.") == framed.count("Listed since") == 1
    assert framed.count('<p class="small dim">CO air-free at high fire, as found, ppm</p>') == 1


def test_an_appliance_outside_in_several_ways_has_one_row_by_the_gravest(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    visited(boiler, person, analyser, dispatcher, left=("10.30", "10.30"))
    flags = list(Flag.objects.filter(kind=Flag.Kind.OUTSIDE))
    assert len(flags) == 2
    for rank, flag in enumerate(flags, start=5):
        flag.figures["verdict"]["rank"] = rank
        flag.save()
    may_be_outside(boiler, Forecast.objects.filter(lower__isnull=False).first())
    page = main_of(opened(dispatcher, "/"))
    assert "Monday 2 March: one outside a limit</h1>" in page
    assert page.count('<li class="row">') == 1
    assert "2 findings more stand on its page." in page
    assert f"CO₂ at {flags[1].key.split()[0]} fire" in page


def test_answering_for_it_names_the_person_and_keeps_it_listed(unsafe: Flag, dispatcher: User) -> None:
    answer = sent(dispatcher, f"/flags/{unsafe.id}/acknowledge/", version=1, words="On my way")
    assert (answer.status_code, answer["Location"]) == (302, "/")
    unsafe.refresh_from_db()
    assert (unsafe.acknowledged_by, unsafe.acknowledged_note, unsafe.closed_at) == (dispatcher, "On my way", None)
    page = main_of(opened(dispatcher, "/"))
    assert "dispatcher answers for it since" in page
    assert "I am answering for it" not in page


def test_a_stale_version_is_refused_in_words_and_changes_nothing(unsafe: Flag, dispatcher: User, manager: User) -> None:
    acknowledge_flag(flag=unsafe, version=1, note="mine", actor=manager, now=NOON)
    answer = sent(dispatcher, f"/flags/{unsafe.id}/acknowledge/", version=1, words="No, <b>mine</b>")
    page = main_of(checked(answer))
    assert answer.status_code == 409
    assert 'class="fault" role="alert"' in page
    assert "was changed meanwhile" in page
    assert "What you wrote is kept below." in page
    assert "manager answers for it since" in page
    unsafe.refresh_from_db()
    assert (unsafe.acknowledged_by, unsafe.acknowledged_note, unsafe.version) == (manager, "mine", 2)


@pytest.mark.parametrize("values", [{}, {"version": "x"}, {"version": 1, "words": "n" * 501}, {"version": -1}])
def test_a_form_that_cannot_be_read_is_a_fault_block(unsafe: Flag, dispatcher: User, values: dict[str, Any]) -> None:
    answer = sent(dispatcher, f"/flags/{unsafe.id}/acknowledge/", **values)
    assert answer.status_code == 400
    assert 'class="fault"' in checked(answer)
    unsafe.refresh_from_db()
    assert unsafe.version == 1


def test_unsafe_is_not_closed_without_a_test_and_the_reason_typed_is_kept(unsafe: Flag, technician: User) -> None:
    answer = sent(technician, f"/flags/{unsafe.id}/close/", version=1, words="repaired the flue", back="appliance")
    page = main_of(checked(answer))
    assert answer.status_code == 400
    assert "It needs a test as left after it" in page
    assert page.count('value="repaired the flue"') == 1
    unsafe.refresh_from_db()
    assert unsafe.closed_at is None


def test_somebody_without_qualification_does_not_close_unsafe(unsafe: Flag, manager: User, dispatcher: User) -> None:
    for user in (manager, dispatcher):
        assert sent(user, f"/flags/{unsafe.id}/close/", version=1, words="looks fine").status_code == 403
    unsafe.refresh_from_db()
    assert unsafe.closed_at is None


def test_the_office_closes_a_drift_flag_from_the_appliance(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User, technician: User
) -> None:
    visited(boiler, person, analyser, dispatcher)
    flag = may_be_outside(boiler, boiler.forecasts.get(quantity="co2", rate="high"))
    assert sent(technician, f"/flags/{flag.id}/close/", version=1, words="x").status_code == 403
    answer = sent(dispatcher, f"/flags/{flag.id}/close/", version=1, words="to be replaced", back="appliance")
    assert answer["Location"] == f"/appliances/{boiler.id}/"
    flag.refresh_from_db()
    assert (flag.closed_by, flag.closed_why) == (dispatcher, "to be replaced")


def test_a_drift_row_says_pace_day_chance_and_what_is_accepted(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    add_yearly_required_check(boiler, dispatcher)
    visited(boiler, person, analyser, dispatcher, day="2025-03-02")
    visited(boiler, person, analyser, dispatcher)
    may_be_outside(boiler, boiler.forecasts.get(quantity="co2", rate="high"))
    page = main_of(opened(dispatcher, "/"))
    assert "CO₂ at high fire" in page
    assert "By the visit due on Tuesday 2 March 2027 the chance that it is outside 9.1 to 9.7 % is <b>42 %</b>" in page
    assert "8 % is accepted." in page
    assert "% expected, CO₂ at high fire; band 9.1 to 9.7 %" in page


def test_an_outside_row_names_value_limit_and_set_in_words(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    visited(boiler, person, analyser, dispatcher, left=("10.30", "9.10"))
    page = main_of(opened(dispatcher, "/"))
    assert "one outside a limit" in page
    assert "CO₂ at high fire, as left, was <b>10.30 %</b>, " in page
    assert '<b class="outside">outside</b> the limits of Test sheet v1 (9.1 to 9.7 %) as recorded.' in page


def test_what_falls_due_is_chosen_by_days_and_client(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    add_yearly_required_check(boiler, dispatcher)
    visited(boiler, person, analyser, dispatcher, day="2025-04-10", left=("9.40", "9.10"))
    other = Client.objects.create(name="Quiet client")
    assert "Look at Boiler 1" not in opened(dispatcher, "/?within=21")
    assert "10 Apr 2026" in main_of(opened(dispatcher, "/?within=42"))
    assert "Look at Boiler 1" not in opened(dispatcher, f"/?within=42&client={other.id}")
    assert '<option value="21" selected>' in opened(dispatcher, "/?within=hostile")


def test_the_margin_holds_what_runs_out_and_what_waits_for_the_office(
    boiler: Appliance, technician: User, manager: User, dispatcher: User, analyser: Analyser
) -> None:
    analyser.calibrations.update(valid_to="2026-03-10")
    keep_unreadable(body=b"{", errors={"body": coded("blank")}, unsafe=None, actor=technician, now=NOON)
    page = main_of(opened(dispatcher, "/"))
    assert "calibration of Analyser 1" in page
    assert "1 message could not be read" in page
    assert "6 a week can be made for drift." in page


def test_a_mark_on_a_visit_is_listed_with_its_sentence(
    body: dict[str, Any], technician: User, dispatcher: User
) -> None:
    body["data_plate"] = {"confirmed": False}
    store(body, technician)
    assert "The data plate was not confirmed on arrival." in main_of(opened(dispatcher, "/"))


def test_the_opening_counts_appliances_not_reasons(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    visited(boiler, person, analyser, dispatcher, left=("10.30", "10.30"))
    assert Flag.objects.filter(kind="outside_a_limit").count() == 2
    assert opening(attention_for(dispatcher, NOON.date())) == "Monday 2 March: one outside a limit"


def test_forecasts_from_assumptions_are_counted_in_the_margin(
    boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User
) -> None:
    visited(boiler, person, analyser, dispatcher)
    assert "2 forecasts are made from assumptions" in main_of(opened(dispatcher, "/"))


def test_a_long_list_says_how_much_of_it_is_shown(
    boiler: Appliance, dispatcher: User, monkeypatch: pytest.MonkeyPatch, person: Person, analyser: Analyser
) -> None:
    monkeypatch.setattr("fleet.web.attention.MOST_ROWS", 1)
    Contractor.objects.update(name="Test Heating")
    for name in ("One House", "Two House"):
        appliance = make_appliance(make_building(boiler.building.client, name), boiler.sheet)
        add_yearly_required_check(appliance, dispatcher)
        visited(appliance, person, analyser, dispatcher, day="2025-03-05")
    assert "the first 1 of 2" in main_of(opened(dispatcher, "/"))


def test_unsafe_and_at_stop_level_is_one_frame_with_both(
    boiler: Appliance, unsafe: Flag, body: dict[str, Any], technician: User, dispatcher: User
) -> None:
    unsafe.kind, unsafe.pk, unsafe.key = "stop_level", None, "another"
    unsafe.save(force_insert=True)
    page = main_of(opened(dispatcher, "/"))
    assert (page.count('class="stop'), page.count('class="beside')) == (1, 1)
    assert page.count("I am answering for it") == 2


def test_nobody_is_late_by_a_forecast(boiler: Appliance, person: Person, analyser: Analyser, dispatcher: User) -> None:
    add_yearly_required_check(boiler, dispatcher)
    visited(boiler, person, analyser, dispatcher, day="2025-02-20")
    assert "10 days late" in main_of(opened(dispatcher, "/"))
    boiler.revisit.date_set_by = "drift"
    boiler.revisit.save()
    page = main_of(opened(dispatcher, "/"))
    assert "late" not in page
    assert "accepted risk used up" in page
    assert "Its accepted risk was used up on <b>Friday 20 February 2026</b>." in main_of(
        opened(dispatcher, f"/appliances/{boiler.id}/")
    )
