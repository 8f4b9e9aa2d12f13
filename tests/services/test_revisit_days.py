"""A day set by a person: no refresh moves it, the occupier's knowledge binds it, a visit fulfils it."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.errors import Conflict, FleetError
from fleet.models import Analyser, Appliance, OccupierNotice, Person, RequiredCheck, Revisit, Role, User
from fleet.presentation.revisits import set_words, who_words
from fleet.queries.attention import attention_for
from fleet.queries.revisits import named_in_doubt, nobody_named, technicians
from fleet.services.no_access import record_no_access
from fleet.services.revisit_days import Notice, book_day, release_day
from tests.cast import NOON, make_person, make_user, propose_revisit, store, visit_body
from tests.intake.refused import said_of
from tests.services.test_revisits import flagged, under

TODAY = NOON.date()
DAY = date(2026, 4, 1)
TOLD = Notice("told", TODAY, "by letter", 14)


@pytest.fixture
def revisit(boiler: Appliance, manager: User) -> Revisit:
    under(boiler, manager, "Yearly", {"type": "max_months", "months": 12}, date(2025, 5, 1))
    proposed = propose_revisit(appliance=boiler, now=NOON)
    assert proposed is not None
    return proposed


def confirmed(revisit: Revisit, actor: User, day: date = DAY, notice: Notice | None = None, **changes: Any) -> Revisit:
    given: dict[str, Any] = {"version": revisit.version, "state": "confirmed", "note": "", "now": NOON} | changes
    return book_day(revisit=revisit, day=day, notice=notice, actor=actor, **given)


def test_a_refresh_never_moves_it_and_says_when_it_is_needed_earlier(
    boiler: Appliance, revisit: Revisit, dispatcher: User
) -> None:
    confirmed(revisit, dispatcher, note="with the caretaker")
    assert attention_for(dispatcher, NOON.date()).needed_earlier == ()
    flagged(boiler, "outside_a_limit")
    again = propose_revisit(appliance=boiler, now=NOON)
    assert again is not None
    assert (again.state, again.day, again.set_by, again.note) == ("confirmed", DAY, dispatcher, "with the caretaker")
    assert again.latest == date(2026, 3, 16)
    assert attention_for(dispatcher, NOON.date()).needed_earlier == (again,)


def test_by_a_forecast_nobody_comes_too_late_for_what_was_needed(revisit: Revisit) -> None:
    """T38: a forecast's day in the past is today's risk."""
    said = {"state": "booked", "day": DAY, "latest": NOON.date() - timedelta(days=9), "date_set_by": "drift"}
    booked = Revisit(appliance=revisit.appliance, reasons=[], earliest=said["latest"], **said)
    assert set_words(booked, NOON.date()).endswith("; the accepted risk was used up on 21 February 2026.")
    booked.date_set_by = "required_check"
    assert "though needed by 21 February 2026, which is over." in set_words(booked, NOON.date())


def test_it_stands_even_where_nothing_asks_for_it_any_more(
    boiler: Appliance, revisit: Revisit, dispatcher: User
) -> None:
    confirmed(revisit, dispatcher)
    RequiredCheck.objects.all().delete()
    again = propose_revisit(appliance=boiler, now=NOON)
    assert again is not None
    assert (again.day, again.latest, again.date_set_by) == (DAY, DAY, "set")
    release_day(revisit=again, version=again.version, note="not needed", actor=dispatcher, now=NOON)
    assert propose_revisit(appliance=boiler, now=NOON) is None


def test_a_visit_on_its_day_fulfils_it(
    boiler: Appliance, revisit: Revisit, dispatcher: User, technician: User, person: Person, analyser: Analyser
) -> None:
    confirmed(revisit, dispatcher)
    store(visit_body(boiler, person, analyser, day="2026-03-20"), technician, NOON + timedelta(days=18))
    sooner = propose_revisit(appliance=boiler, now=NOON + timedelta(days=18))
    assert sooner is not None
    assert sooner.day == DAY
    store(visit_body(boiler, person, analyser, day="2026-04-01"), technician, NOON + timedelta(days=30))
    again = propose_revisit(appliance=boiler, now=NOON + timedelta(days=30))
    assert again is not None
    assert (again.state, again.day, again.latest) == ("proposed", None, date(2027, 4, 1))
    assert again.version > sooner.version


def test_a_visit_that_was_known_when_the_day_was_set_does_not_fulfil_it(
    boiler: Appliance, revisit: Revisit, dispatcher: User, technician: User, person: Person, analyser: Analyser
) -> None:
    """Tested in the morning and left outside, it is set for the afternoon."""
    store(visit_body(boiler, person, analyser), technician, NOON)
    standing = propose_revisit(appliance=boiler, now=NOON) or revisit
    confirmed(Revisit.objects.get(id=standing.id), dispatcher, day=NOON.date())
    Revisit.objects.update(set_at=NOON + timedelta(hours=1))
    again = propose_revisit(appliance=boiler, now=NOON + timedelta(hours=2))
    assert again is not None
    assert again.day == NOON.date()


def test_a_day_that_passed_without_a_visit_is_listed(revisit: Revisit, dispatcher: User) -> None:
    confirmed(revisit, dispatcher)
    assert attention_for(dispatcher, DAY).passed == ()
    assert attention_for(dispatcher, DAY + timedelta(days=1)).passed == (revisit,)


# ---- what the occupier knows ----


def test_a_day_that_the_occupier_knows_moves_only_with_a_new_notice(revisit: Revisit, dispatcher: User) -> None:
    confirmed(revisit, dispatcher, notice=TOLD)
    for day in (DAY - timedelta(days=1), DAY + timedelta(days=1)):
        with pytest.raises(Conflict) as refused:
            confirmed(revisit, dispatcher, day)
        assert refused.value.code == "occupier_knows"
    moved = confirmed(revisit, dispatcher, DAY + timedelta(days=1), TOLD)
    assert moved.day == DAY + timedelta(days=1)
    assert OccupierNotice.objects.count() == 2


def test_taking_a_day_back_is_no_way_around_the_notice(revisit: Revisit, dispatcher: User) -> None:
    confirmed(revisit, dispatcher, notice=TOLD)
    released = release_day(revisit=revisit, version=revisit.version, note="sick", actor=dispatcher, now=NOON)
    with pytest.raises(Conflict):
        confirmed(released, dispatcher, DAY + timedelta(days=1))
    assert confirmed(released, dispatcher, DAY).day == DAY


def test_once_the_day_is_over_another_needs_no_notice(revisit: Revisit, dispatcher: User) -> None:
    confirmed(revisit, dispatcher, notice=TOLD)
    later = NOON + timedelta(days=31)
    assert confirmed(revisit, dispatcher, date(2026, 4, 9), now=later).day == date(2026, 4, 9)


def test_who_was_told_has_the_days_of_notice_and_who_agreed_waives_them(revisit: Revisit, dispatcher: User) -> None:
    soon = TODAY + timedelta(days=13)
    with pytest.raises(FleetError) as refused:
        confirmed(revisit, dispatcher, soon, TOLD)
    assert said_of(refused.value) == {"day": "is 2026-03-15; with 14 days of notice it is 2026-03-16 at the soonest"}
    assert confirmed(revisit, dispatcher, soon, Notice("agreed", TODAY, "by telephone", 14)).day == soon


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"state": "proposed"}, "state"),
        ({"day": TODAY - timedelta(days=1)}, "day"),
        ({"notice": Notice("rumoured", TODAY, "by letter", 0)}, "notice.kind"),
        ({"notice": Notice("told", TODAY, " ", 0)}, "notice.how"),
        ({"notice": Notice("agreed", TODAY + timedelta(days=1), "by letter", 0)}, "notice.given_on"),
    ],
)
def test_a_day_that_cannot_be_is_refused(
    revisit: Revisit, dispatcher: User, changes: dict[str, Any], field: str
) -> None:
    with pytest.raises(FleetError) as refused:
        confirmed(revisit, dispatcher, **changes)
    assert list(said_of(refused.value)) == [field]  # type: ignore[call-overload]  # a mapping
    assert not OccupierNotice.objects.exists()


def test_a_stale_version_changes_nothing(revisit: Revisit, dispatcher: User) -> None:
    with pytest.raises(Conflict) as refused:
        confirmed(revisit, dispatcher, version=9, notice=TOLD)
    assert refused.value.code == "changed_meanwhile"
    assert not OccupierNotice.objects.exists()


def test_taking_a_day_back_needs_a_reason(revisit: Revisit, dispatcher: User) -> None:
    confirmed(revisit, dispatcher)
    with pytest.raises(FleetError):
        release_day(revisit=revisit, version=revisit.version, note=" ", actor=dispatcher, now=NOON)


# ---- who goes ----


def test_who_goes_is_named_changed_and_cleared_with_the_day(
    revisit: Revisit, dispatcher: User, person: Person, manager: User
) -> None:
    other = make_person("Bo Test", None, manager)
    named = confirmed(revisit, dispatcher, technician=person)
    assert (named.technician, who_words(named)) == (person, "Ada Test goes.")
    assert confirmed(named, dispatcher, technician=other).technician == other
    unnamed = confirmed(named, dispatcher)
    assert (unnamed.technician, who_words(unnamed)) == (None, "Nobody is named to go.")
    again = confirmed(unnamed, dispatcher, technician=person)
    released = release_day(revisit=again, version=again.version, note="sick", actor=dispatcher, now=NOON)
    assert (released.technician, who_words(released)) == (None, "")


def test_only_a_technician_of_the_register_can_be_named(revisit: Revisit, dispatcher: User, person: Person) -> None:
    clerk = Person.objects.create(name="Cy Test", role=Role.DISPATCHER)
    with pytest.raises(FleetError) as refused:
        confirmed(revisit, dispatcher, technician=clerk)
    assert said_of(refused.value) == {"technician": "is Cy Test, dispatcher; it must be a technician of the register"}
    assert Revisit.objects.get().day is None
    assert list(technicians(dispatcher)) == [person]


def test_whoever_is_not_qualified_on_the_day_is_accepted_and_said(
    boiler: Appliance, revisit: Revisit, dispatcher: User, manager: User
) -> None:
    """On the last day of the licence still, the day after it not."""
    lapsing = make_person("Bo Test", None, manager, valid_to="2026-04-01")
    set_for = confirmed(revisit, dispatcher, technician=lapsing)
    assert who_words(set_for) == "Bo Test goes."
    assert list(named_in_doubt(dispatcher, TODAY, DAY)) == []
    moved = confirmed(set_for, dispatcher, DAY + timedelta(days=1), technician=lapsing)
    words = "Bo Test goes. Bo Test has no qualification for gas in force on 2 April 2026."
    assert who_words(Revisit.objects.get()) == words
    assert list(named_in_doubt(dispatcher, TODAY, DAY)) == []
    assert list(named_in_doubt(dispatcher, TODAY, DAY + timedelta(days=1))) == [moved]


def test_it_is_the_fuel_of_the_day_that_somebody_must_be_qualified_for(
    boiler: Appliance, revisit: Revisit, dispatcher: User, person: Person
) -> None:
    person.qualifications.update(fuel_kinds=["gas"])
    set_for = confirmed(revisit, dispatcher, technician=person)
    assert who_words(Revisit.objects.get(id=set_for.id)) == "Ada Test goes."
    Appliance.objects.update(fuel="light_oil")
    (doubtful,) = named_in_doubt(dispatcher, TODAY, DAY)
    assert who_words(doubtful).endswith("Ada Test has no qualification for oil in force on 1 April 2026.")


def test_whoever_may_not_see_the_client_would_not_know_of_the_day(
    revisit: Revisit, dispatcher: User, manager: User, outsider: User
) -> None:
    stranger = make_person("Bo Test", outsider, manager)
    said = who_words(confirmed(revisit, dispatcher, technician=stranger))
    assert said == (
        "Bo Test goes. The account of Bo Test may not see this client, so the day is not in their calendar."
    )
    outsider.clients.add(revisit.appliance.building.client)
    assert list(named_in_doubt(dispatcher, TODAY, DAY)) == []


def test_days_for_which_nobody_is_named_are_listed_until_they_are_over(
    revisit: Revisit, dispatcher: User, person: Person, outsider: User
) -> None:
    set_for = confirmed(revisit, dispatcher)
    assert nobody_named(dispatcher, DAY).get() == revisit
    assert not nobody_named(dispatcher, DAY + timedelta(days=1)).exists()
    assert not nobody_named(outsider, DAY).exists()
    confirmed(set_for, dispatcher, technician=person)
    assert not nobody_named(dispatcher, DAY).exists()


def test_a_refresh_keeps_who_goes_and_a_visit_clears_it(
    boiler: Appliance, revisit: Revisit, dispatcher: User, technician: User, person: Person, analyser: Analyser
) -> None:
    confirmed(revisit, dispatcher, technician=person)
    flagged(boiler, "outside_a_limit")
    kept = propose_revisit(appliance=boiler, now=NOON)
    assert kept is not None
    assert kept.technician == person
    store(visit_body(boiler, person, analyser, day="2026-04-01"), technician, NOON + timedelta(days=30))
    fulfilled = propose_revisit(appliance=boiler, now=NOON + timedelta(days=30))
    assert fulfilled is not None
    assert (fulfilled.day, fulfilled.technician) == (None, None)


def test_an_attempt_without_access_frees_whoever_went(
    boiler: Appliance, revisit: Revisit, dispatcher: User, technician: User, person: Person
) -> None:
    confirmed(revisit, dispatcher, TODAY, technician=person)
    record_no_access(appliances=[boiler], at=NOON, kind="nobody_in", note="", letter="", actor=technician, now=NOON)
    assert (Revisit.objects.get().day, Revisit.objects.get().technician) == (None, None)


def test_somebody_elsewhere_is_not_a_technician_any_more(revisit: Revisit, dispatcher: User, person: Person) -> None:
    confirmed(revisit, dispatcher, technician=person)
    Person.objects.update(role=Role.MANAGER)
    assert who_words(Revisit.objects.get()) == "Ada Test goes. Ada Test is no technician of the register any more."
    assert not technicians(make_user("second dispatcher", Role.DISPATCHER)).exists()
