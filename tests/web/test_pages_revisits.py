"""Who goes on a revisit's day, on the pages: named with the day, doubted where it must be, listed where missing."""

from datetime import date, timedelta

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings

from fleet.models import Appliance, Client, NoAccess, Person, Revisit, Role, User
from fleet.models.register import new_id
from fleet.presentation.days import long_day
from fleet.services.revisit_days import book_day
from tests.cast import NOON, make_building, make_person, make_user, propose_revisit
from tests.services.test_revisits import under
from tests.web.markup import words_of
from tests.web.opened import browser_of, has_shown, opened, sent

DAY = NOON.date() + timedelta(days=30)
GIVEN = {"state": "confirmed", "day": f"{DAY:%Y-%m-%d}"}


@pytest.fixture(autouse=True)
def at_noon(settings: Settings) -> None:
    settings.CLOCK_OFFSET = NOON - timezone.now()


@pytest.fixture
def revisit(boiler: Appliance, manager: User) -> Revisit:
    under(boiler, manager, "Yearly", {"type": "max_months", "months": 24}, date(2025, 12, 1))
    proposed = propose_revisit(appliance=boiler, now=NOON)
    assert proposed is not None
    return proposed


def page_of(revisit: Revisit) -> str:
    return f"/buildings/{revisit.appliance.building_id}/revisits/"


def test_who_goes_is_named_where_the_day_is_set(
    revisit: Revisit, person: Person, dispatcher: User, auditor: User
) -> None:
    answer = sent(dispatcher, f"/revisits/{revisit.id}/book/", version=1, technician=str(person.id), **GIVEN)
    assert answer.status_code == 302
    assert Revisit.objects.get().technician == person
    for user, path in ((dispatcher, page_of(revisit)), (auditor, f"/appliances/{revisit.appliance_id}/")):
        assert "Ada Test goes." in opened(user, path)
    assert f'<option value="{person.id}" selected> Ada Test</option>' in " ".join(
        opened(dispatcher, page_of(revisit)).split()
    )
    cleared = sent(dispatcher, f"/revisits/{revisit.id}/book/", version=2, technician="", **GIVEN)
    assert (cleared.status_code, Revisit.objects.get().technician) == (302, None)
    assert '<b class="outside">Nobody is named to go.</b>' in opened(dispatcher, page_of(revisit))


def test_only_technicians_are_offered_and_taken(revisit: Revisit, person: Person, dispatcher: User) -> None:
    clerk = Person.objects.create(name="Cy Test", role=Role.DISPATCHER)
    assert "Cy Test" not in opened(dispatcher, page_of(revisit))
    act = f"/revisits/{revisit.id}/book/"
    for given, words in (
        (str(clerk.id), "is Cy Test, dispatcher; it must be a technician of the register"),
        (str(new_id()), "there is nothing with this id that you may see"),
    ):
        refused = sent(dispatcher, act, version=1, technician=given, words="kept", **GIVEN)
        page = refused.content.decode()
        assert refused.status_code == 400
        assert words in page
        assert 'value="kept"' in page
    assert Revisit.objects.get().day is None


def test_attention_lists_days_without_anybody_and_without_a_qualification(
    revisit: Revisit, dispatcher: User, manager: User
) -> None:
    assert "Who goes" not in opened(dispatcher, "/")
    bare = book_day(revisit=revisit, version=1, note="", notice=None, actor=manager, now=NOON,
                   state="booked", day=DAY)  # fmt: skip
    shown = opened(dispatcher, "/")
    assert "Booked for a day, and nobody is named:" in shown
    assert "<b>1 Apr 2026</b>" in shown
    lapsing = make_person("Bo Test", None, manager, valid_to="2026-03-31")
    book_day(revisit=bare, version=bare.version, note="", notice=None, technician=lapsing, actor=manager, now=NOON,
            state="booked", day=DAY)  # fmt: skip
    shown = opened(dispatcher, "/")
    assert "nobody is named" not in shown
    assert "Bo Test has no qualification for gas in force on 1 April 2026." in shown


def test_attention_names_nothing_of_a_client_that_somebody_may_not_see(revisit: Revisit, manager: User) -> None:
    book_day(revisit=revisit, version=1, note="", notice=None, actor=manager, now=NOON, state="booked", day=DAY)
    elsewhere = make_user("their dispatcher", Role.DISPATCHER, sees_all_clients=False)
    other = Client.objects.create(name="Mill Trust")
    elsewhere.clients.add(other)
    assert "Who goes" not in opened(elsewhere, "/")
    make_building(other, "Mill House")
    assert "Who goes" not in opened(manager, f"/?client={other.id}")
    assert "Who goes" in opened(manager, f"/?client={revisit.appliance.building.client_id}")


def test_an_auditor_finds_deliveries_and_defects_in_the_head(auditor: User, dispatcher: User) -> None:
    for path in ("/deliveries/", "/defects/"):
        shown = opened(auditor, path)
        assert f'<a href="{path}" aria-current="page">' in shown
        assert '<a href="/">' not in shown
        assert '<a href="/" aria-current="page">' in opened(dispatcher, path)


def test_the_calendars_page_says_what_each_holds(dispatcher: User, technician: User, client_of_ours: Client) -> None:
    assert "No calendar link is open" in opened(dispatcher, "/calendars/")
    for whose in (f"user {technician.id}", f"user {dispatcher.id}", f"client {client_of_ours.id}"):
        assert has_shown(browser_of(dispatcher)).post("/calendars/", {"whose": whose})["Location"] == "/calendars/"
    shown = opened(dispatcher, "/calendars/")
    for words in (
        "visits for which this person is named, on the day that is booked; nobody else's",
        "every visit whose day is booked, of the clients that this person may see, and who goes",
        "visits planned and booked, and last days of required checks, of this client alone",
    ):
        assert words in shown


def test_the_building_opens_with_the_first_day(revisit: Revisit, dispatcher: User) -> None:
    page, today = f"/buildings/{revisit.appliance.building_id}/", NOON.date()
    for latest, said in (
        (today + timedelta(days=9), "See the first by %s, in 9 days."),
        (today - timedelta(days=1), "The first should have been seen by %s: 1 day late."),
    ):
        Revisit.objects.update(earliest=today - timedelta(days=30), latest=latest)
        assert said % long_day(latest) in words_of(opened(dispatcher, page))


def test_what_was_noted_of_an_attempt_is_a_sentence(revisit: Revisit, dispatcher: User) -> None:
    NoAccess.objects.create(
        appliance=revisit.appliance, at=NOON, local_date=NOON.date(), kind="no_key", note="rang twice",
        letter="card left", by=dispatcher, recorded_at=NOON,
    )  # fmt: skip
    assert "Rang twice. Letter: card left." in words_of(opened(dispatcher, page_of(revisit)))
