"""Revisits: duties that can't be told, what an appliance leaves behind, and one failure among many."""

from datetime import date
from typing import Any

import pytest

from fleet.models import Analyser, Appliance, Flag, Forecast, Job, Person, Revisit, User
from fleet.services import forecasts, revisits
from fleet.services.duties import add_duty
from tests.cast import NOON, make_appliance, store, visit_body

BY_AGE_OF_FLUE = {"type": "max_months", "months": 24, "variants": [{"select": {"age_of_flue_ge": 10}, "months": 12}]}


def under(appliance: Appliance, actor: User, name: str, rule: dict[str, Any], since: date) -> None:
    values = {"appliance": appliance, "name": name, "source": "contract", "rule": rule, "why": "signed"}
    add_duty(values=values | {"since": since}, actor=actor, now=NOON)


def flagged(appliance: Appliance, kind: str) -> Flag:
    values = {"appliance": appliance, "kind": kind, "key": "x", "sentence": "x"}
    return Flag.objects.create(**values, opened_at=NOON, updated_at=NOON)


# ---- duties that can't be told ----


def test_a_duty_that_cannot_be_told_is_among_the_reasons_and_binds_nothing(boiler: Appliance, manager: User) -> None:
    under(boiler, manager, "By flue", BY_AGE_OF_FLUE, date(2023, 1, 1))
    under(boiler, manager, "Yearly", {"type": "max_months", "months": 12}, date(2026, 1, 1))
    revisit = revisits.propose_revisit(appliance=boiler, now=NOON)
    assert revisit is not None
    assert (revisit.latest, revisit.binding) == (date(2027, 1, 1), "duty")
    first, second = revisit.reasons
    assert first["sentence"].startswith("Yearly: ")
    assert second["sentence"].startswith("By flue: as early as 2024-01-01; age_of_flue not recorded")
    assert (second["binding"], second["latest"]) == ("can't be told", "")


def test_a_duty_that_cannot_be_told_asks_for_no_date_by_itself(boiler: Appliance, manager: User) -> None:
    under(boiler, manager, "By flue", BY_AGE_OF_FLUE, date(2023, 1, 1))
    assert revisits.propose_revisit(appliance=boiler, now=NOON) is None


def test_it_is_no_planned_visit_for_drift_either(
    boiler: Appliance, manager: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    under(boiler, manager, "By flue", BY_AGE_OF_FLUE, date(2025, 6, 1))
    planned: list[date] = []
    monkeypatch.setattr(forecasts, "flag_drift", lambda **given: planned.append(given["planned"]))
    revisits.propose_revisit(appliance=boiler, now=NOON)
    assert planned == [date(2027, 3, 2)]


# ---- an appliance that has left ----


def test_what_an_appliance_was_flagged_for_ends_when_it_leaves_but_for_what_a_person_closes(boiler: Appliance) -> None:
    for kind in Flag.Kind.values:
        flagged(boiler, kind)
    boiler.in_service_to = date(2026, 3, 1)
    revisits.propose_revisit(appliance=boiler, now=NOON)
    still_open = Flag.objects.filter(closed_at__isnull=True).values_list("kind", flat=True)
    assert set(still_open) == {Flag.Kind.UNSAFE, Flag.Kind.STOP}
    closed = Flag.objects.filter(closed_at__isnull=False)
    assert {each.closed_why for each in closed} == {"The appliance was taken out of service on 2026-03-01."}


def test_flags_stand_until_the_last_day_is_over(boiler: Appliance) -> None:
    flag = flagged(boiler, Flag.Kind.OUTSIDE)
    boiler.in_service_to = NOON.date()
    revisits.propose_revisit(appliance=boiler, now=NOON)
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
    drift = forecasts.flag_drift

    def fails_for_the_first(*, appliance: Appliance, **given: Any) -> None:
        Flag.objects.all().count()
        if appliance == three[0]:
            raise ValueError("no such rate")
        drift(appliance=appliance, **given)

    monkeypatch.setattr(forecasts, "flag_drift", fails_for_the_first)
    revisits.refresh_everybody(now=NOON)
    assert set(Revisit.objects.values_list("appliance", flat=True)) == {each.id for each in three[1:]}
    job = Job.objects.get()
    assert (job.kind, job.key, job.state) == ("refresh_appliance", str(three[0].id), "waiting")


def test_a_series_that_cannot_be_forecast_stops_only_its_own_appliance(
    three: list[Appliance],
    person: Person,
    analyser: Analyser,
    technician: User,
    monkeypatch: pytest.MonkeyPatch,
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
    assert set(Revisit.objects.filter(binding="duty").values_list("appliance", flat=True)) == done
    assert [each.key for each in Job.objects.all()] == [str(three[0].id)]
