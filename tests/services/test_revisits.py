"""Revisits: required checks that can't be told, what an appliance leaves behind, and one failure among many."""

from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import Analyser, Appliance, Flag, Forecast, Job, Person, Revisit, User
from fleet.presentation.follow_ups import closed_words
from fleet.presentation.revisits import reason_sentence, reason_words, urgency_words
from fleet.services import flags, forecasts, revisits
from fleet.services.required_checks import add_required_check
from tests.cast import NOON, make_appliance, propose_revisit, store, visit_body

BY_AGE_OF_FLUE = {"type": "max_months", "months": 24, "variants": [{"select": {"age_of_flue_ge": 10}, "months": 12}]}


@pytest.fixture
def forecast(boiler: Appliance, person: Person, analyser: Analyser, technician: User) -> Forecast:
    """CO2 at low fire by its own record: 6 chances in 100 half a year after the last visit, 60 after a year."""
    store(visit_body(boiler, person, analyser), technician)
    forecasts.refresh_forecasts(appliances=[boiler], now=NOON)
    crossing = [{"years": 0.0, "chance": 0.0}, {"years": 0.5, "chance": 0.06}, {"years": 1.0, "chance": 0.6}]
    told = Forecast.objects.filter(quantity="co2", rate="low")
    told.update(basis="its own record", crossing=crossing, horizon_on=date(2026, 9, 10))
    return told.get()


def under(appliance: Appliance, actor: User, name: str, rule: dict[str, Any], since: date) -> None:
    values = {"appliance": appliance, "name": name, "source": "contract", "rule": rule, "why": "signed"}
    add_required_check(values=values | {"since": since}, actor=actor, now=NOON)


def flagged(appliance: Appliance, kind: str) -> Flag:
    values = {"appliance": appliance, "kind": kind, "key": "x", "sentence": "x"}
    return Flag.objects.create(**values, opened_at=NOON, updated_at=NOON)


# ---- required checks that can't be told ----


def test_a_required_check_that_cannot_be_told_is_among_the_reasons_and_sets_no_date(
    boiler: Appliance, manager: User
) -> None:
    under(boiler, manager, "By flue", BY_AGE_OF_FLUE, date(2025, 6, 1))
    under(boiler, manager, "Yearly", {"type": "max_months", "months": 12}, date(2026, 1, 1))
    revisit = propose_revisit(appliance=boiler, now=NOON)
    assert revisit is not None
    assert (revisit.latest, revisit.date_set_by) == (date(2027, 1, 1), "required_check")
    first, second = revisit.reasons
    assert reason_sentence(first).startswith("Yearly: ")
    assert reason_sentence(second).startswith("By flue: as early as 1 June 2026; age of flue not recorded")
    assert (second["kind"], second["latest"]) == ("undecided", "")


def test_a_required_check_that_cannot_be_told_asks_for_no_date_by_itself(boiler: Appliance, manager: User) -> None:
    under(boiler, manager, "By flue", BY_AGE_OF_FLUE, date(2025, 6, 1))
    assert propose_revisit(appliance=boiler, now=NOON) is None


def test_once_it_may_be_due_it_asks_for_the_day_by_which_it_surely_is(boiler: Appliance, manager: User) -> None:
    """Twelve or twenty-four months, by a fact that nobody recorded: after twelve, twenty-four are certain."""
    under(boiler, manager, "By flue", BY_AGE_OF_FLUE, date(2025, 1, 1))
    revisit = propose_revisit(appliance=boiler, now=NOON)
    assert revisit is not None
    assert (revisit.latest, revisit.date_set_by) == (date(2027, 1, 1), "required_check")
    assert "age of flue not recorded" in reason_words(revisit.why)


def test_it_is_no_planned_visit_for_drift_either(
    boiler: Appliance, manager: User, monkeypatch: pytest.MonkeyPatch, forecast: Forecast
) -> None:
    under(boiler, manager, "By flue", BY_AGE_OF_FLUE, date(2025, 6, 1))
    planned: list[date] = []
    monkeypatch.setattr(flags, "put_drift_flags", lambda **given: planned.extend(x.planned for x in given["cases"]))
    propose_revisit(appliance=boiler, now=NOON)
    assert set(planned) == {date(2027, 3, 2)}


# ---- an appliance that has left ----


def test_what_an_appliance_was_flagged_for_ends_when_it_leaves_but_for_what_a_person_closes(boiler: Appliance) -> None:
    for kind in Flag.Kind.values:
        flagged(boiler, kind)
    boiler.in_service_to = date(2026, 3, 1)
    propose_revisit(appliance=boiler, now=NOON)
    still_open = Flag.objects.filter(closed_at__isnull=True).values_list("kind", flat=True)
    assert set(still_open) == {Flag.Kind.UNSAFE, Flag.Kind.STOP}
    closed = Flag.objects.filter(closed_at__isnull=False)
    assert {closed_words(each) for each in closed} == {"The appliance was taken out of service on 1 March 2026."}


def test_flags_stand_until_the_last_day_is_over(boiler: Appliance) -> None:
    flag = flagged(boiler, Flag.Kind.OUTSIDE)
    boiler.in_service_to = NOON.date()
    propose_revisit(appliance=boiler, now=NOON)
    flag.refresh_from_db()
    assert flag.closed_at is None


# ---- everybody ----


@pytest.fixture
def three(boiler: Appliance, manager: User) -> list[Appliance]:
    made = [boiler, *(make_appliance(boiler.building, boiler.sheet, f"Boiler {number}") for number in (2, 3))]
    for each in made:
        under(each, manager, "Yearly", {"type": "max_months", "months": 12}, date(2026, 1, 1))
    Job.objects.all().delete()
    return made


def test_one_failure_does_not_end_the_others_and_is_tried_again_by_itself(
    three: list[Appliance], monkeypatch: pytest.MonkeyPatch
) -> None:
    put = flags.put_drift_flags

    def fails_for_the_first(*, appliance_ids: Any, **given: Any) -> None:
        Flag.objects.all().count()
        if three[0].id in appliance_ids:
            raise ValueError("no such rate")
        put(appliance_ids=appliance_ids, **given)

    monkeypatch.setattr(flags, "put_drift_flags", fails_for_the_first)
    revisits.refresh_everybody(now=NOON)
    assert set(Revisit.objects.values_list("appliance", flat=True)) == {each.id for each in three[1:]}
    job = Job.objects.get()
    assert (job.kind, job.key, job.state) == ("refresh_appliance", str(three[0].id), "waiting")


def test_a_series_that_cannot_be_forecast_stops_only_its_own_appliances_forecasts(
    three: list[Appliance], person: Person, analyser: Analyser, technician: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    for each in three:
        store(visit_body(each, person, analyser), technician)
    Job.objects.all().delete()
    series_of = forecasts.series_of

    def fails_for_the_first(appliances: Any, day: date) -> Any:
        if three[0] in appliances:
            raise ValueError("no such rate")
        return series_of(appliances, day)

    monkeypatch.setattr(forecasts, "series_of", fails_for_the_first)
    revisits.refresh_everybody(now=NOON)
    done = {each.id for each in three[1:]}
    assert set(Forecast.objects.values_list("appliance", flat=True)) == done
    required_checks = Revisit.objects.filter(date_set_by="required_check").values_list("appliance", flat=True)
    assert set(required_checks) == {each.id for each in three}, "a required check needs no forecast"
    assert [each.key for each in Job.objects.all()] == [str(three[0].id)]


# ---- many at once ----


def statements(appliances: list[Appliance]) -> list[str]:
    with CaptureQueriesContext(connection) as made:
        revisits.propose_revisits(appliances=appliances, now=NOON)
    return [each["sql"] for each in made]


def test_many_take_as_many_statements_as_few(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    many = [boiler, *(make_appliance(boiler.building, boiler.sheet, f"Boiler {number}") for number in range(2, 8))]
    for each in many:
        store(visit_body(each, person, analyser, left=("10.30", "9.10")), technician)
        under(each, manager, "Yearly", {"type": "max_months", "months": 12}, date(2026, 1, 1))
    loaded = list(Appliance.objects.select_related("building", "sheet").order_by("name"))
    revisits.propose_revisits(appliances=loaded, now=NOON)
    few, all_of_them = statements(loaded[:2]), statements(loaded)
    assert len(few) == len(all_of_them) <= 28
    assert not any(each.startswith(("UPDATE", "INSERT", "DELETE")) for each in all_of_them)


def test_what_is_proposed_for_many_is_what_is_proposed_for_each(three: list[Appliance]) -> None:
    flagged(three[1], Flag.Kind.OUTSIDE)
    revisits.propose_revisits(appliances=three, now=NOON)
    names = ("appliance", "earliest", "latest", "date_set_by", "urgency", "urgency_of", "reasons")
    together = list(Revisit.objects.order_by("appliance").values(*names))
    Revisit.objects.all().delete()
    for each in three:
        propose_revisit(appliance=each, now=NOON)
    assert list(Revisit.objects.order_by("appliance").values(*names)) == together
    assert [each["latest"] for each in together].count(date(2026, 3, 16)) == 1


def test_a_change_is_written_to_the_same_proposal(boiler: Appliance, manager: User) -> None:
    under(boiler, manager, "Yearly", {"type": "max_months", "months": 12}, date(2026, 1, 1))
    first = propose_revisit(appliance=boiler, now=NOON)
    flagged(boiler, Flag.Kind.OUTSIDE)
    second = propose_revisit(appliance=boiler, now=NOON)
    assert first is not None
    assert second is not None
    assert (second.id, second.version) == (first.id, first.version + 1)


# ---- windows and urgency ----


def test_the_first_day_is_that_from_which_no_anniversary_is_lost(boiler: Appliance, manager: User) -> None:
    """A check in the two months that end with the deadline keeps its date (GSIUR 1998 reg. 36A(1))."""
    keep = {"type": "corresponding_date_keep", "months": 12, "early_window_months": 2}
    under(boiler, manager, "Landlord", keep, date(2025, 6, 1))
    revisit = propose_revisit(appliance=boiler, now=NOON)
    assert revisit is not None
    assert (revisit.earliest, revisit.latest) == (date(2026, 4, 2), date(2026, 6, 1))
    under(boiler, manager, "Contract", {"type": "max_months", "months": 12}, date(2025, 5, 1))
    sooner = propose_revisit(appliance=boiler, now=NOON)
    assert sooner is not None
    assert (sooner.earliest, sooner.latest, sooner.date_set_by) == (
        date(2026, 4, 2),
        date(2026, 5, 1),
        "required_check",
    )


def test_a_last_day_before_the_anniversarys_window_costs_it_and_says_nothing_else(
    boiler: Appliance, manager: User
) -> None:
    keep = {"type": "corresponding_date_keep", "months": 12, "early_window_months": 2}
    under(boiler, manager, "Landlord", keep, date(2025, 6, 1))
    flagged(boiler, Flag.Kind.OUTSIDE)
    revisit = propose_revisit(appliance=boiler, now=NOON)
    assert revisit is not None
    assert (revisit.earliest, revisit.latest) == (date(2026, 3, 2), date(2026, 3, 16))


def test_urgency_is_the_gravest_reason_and_the_chance_before_the_next_planned_visit(
    boiler: Appliance, manager: User, forecast: Forecast
) -> None:
    under(boiler, manager, "Yearly", {"type": "max_months", "months": 12}, date(2026, 1, 1))
    revisit = propose_revisit(appliance=boiler, now=NOON)
    assert revisit is not None
    assert revisit.urgency == pytest.approx(1.6)
    assert urgency_words(revisit.urgency_of) == (
        "may leave its limits; a chance of 60 % of being outside before 2 March 2027"
    )
    assert (revisit.drift_by, revisit.otherwise_by, revisit.extra) == (
        date(2026, 9, 10), date(2027, 3, 2), "within",
    )  # fmt: skip
    assert (revisit.accepted_risk, revisit.accepted_until) == (0.6, date(2027, 3, 2))
    flagged(boiler, Flag.Kind.UNSAFE)
    graver = propose_revisit(appliance=boiler, now=NOON)
    assert graver is not None
    assert graver.urgency == pytest.approx(5.6)
    assert urgency_words(graver.urgency_of).startswith("declared unsafe; ")
    assert (graver.drift_by, graver.extra) == (None, "")


def test_a_case_that_moves_asks_for_rationing_once(boiler: Appliance, manager: User, forecast: Forecast) -> None:
    Job.objects.all().delete()
    for _again in range(2):
        propose_revisit(appliance=boiler, now=NOON)
    assert [(each.kind, each.key) for each in Job.objects.all()] == [("ration_extra_visits", "all")]
    Job.objects.all().delete()
    propose_revisit(appliance=boiler, now=NOON)
    assert not Job.objects.exists()


def test_two_refreshes_at_once_open_one_flag(boiler: Appliance, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second looked before the first had written: the constraint decides, and the flag that stands is found."""
    opened = flagged(boiler, Flag.Kind.STOP)
    looked = type(Flag.objects.all()).get
    missed: list[bool] = []

    def misses_once(self: Any, *args: Any, **kwargs: Any) -> Any:
        if not missed:
            missed.append(True)
            raise Flag.DoesNotExist
        return looked(self, *args, **kwargs)

    monkeypatch.setattr(type(Flag.objects.all()), "get", misses_once)
    given = {"appliance": boiler, "visit": None, "kind": Flag.Kind.STOP, "key": "x", "figures": {}}
    again = flags.put_flag(sentence="worse", now=NOON, **given)
    assert (again.id, again.sentence) == (opened.id, "worse")
    assert Flag.objects.count() == 1


def test_a_drift_flag_that_somebody_else_opened_meanwhile_stands(
    boiler: Appliance, manager: User, forecast: Forecast, monkeypatch: pytest.MonkeyPatch
) -> None:
    under(boiler, manager, "Yearly", {"type": "max_months", "months": 12}, date(2026, 1, 1))
    create = type(Flag.objects.all()).bulk_create

    def after_somebody_else(self: Any, made: Any, **kwargs: Any) -> Any:
        if kwargs.get("ignore_conflicts"):
            for each in made:
                Flag.objects.create(appliance=boiler, kind=each.kind, key=each.key, figures={"chance": 0.5},
                                    opened_at=NOON, updated_at=NOON)  # fmt: skip
        return create(self, made, **kwargs)

    monkeypatch.setattr(type(Flag.objects.all()), "bulk_create", after_somebody_else)
    propose_revisit(appliance=boiler, now=NOON)
    assert Flag.objects.get(kind=Flag.Kind.DRIFT).figures == {"chance": 0.5}


def test_a_flag_that_a_person_closed_meanwhile_stays_as_they_said(
    boiler: Appliance, manager: User, dispatcher: User, forecast: Forecast
) -> None:
    under(boiler, manager, "Yearly", {"type": "max_months", "months": 12}, date(2026, 1, 1))
    propose_revisit(appliance=boiler, now=NOON)
    flag = Flag.objects.get(kind=Flag.Kind.DRIFT)
    flags.close_flag(flag=flag, version=flag.version, why="seen to", actor=dispatcher, now=NOON)
    stale = Flag(id=flag.id, closed_why="The series has ended.", closed_at=NOON, version=1)
    flags._write([stale], ["closed_at", "closed_why"], NOON)
    assert Flag.objects.get(id=flag.id).closed_why == "seen to"
