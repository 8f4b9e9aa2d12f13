"""Visit done and duty discharged are different facts: what a check lacks, for which duty, and what follows."""

import copy
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from fleet.assess.due.duties import duties_of
from fleet.assess.due.reckoning import reckon
from fleet.models import Analyser, Appliance, Duty, LimitSet, Person, User, VisitCheck
from fleet.models.register import new_id
from fleet.presentation.due_dates import doubt_words, not_discharged_words
from fleet.services.duties import add_duty
from fleet.services.judgements import catch_up
from fleet.services.limit_sets import add_limit_set_version, attach_limit_set, copy_limit_set
from fleet.services.revisits import propose_revisits, refresh_appliance
from tests.cast import DECLARED, NOON, make_appliance, reckoned, store, visit_body

LATER = date(2026, 3, 3)


def attach(key: str, actor: User, appliance: Appliance) -> Duty:
    place = {"limit_set": LimitSet.objects.get(key=key), "appliance": appliance, "since": date(2025, 1, 1), "why": "x"}
    attachment = attach_limit_set(values=place, actor=actor, now=NOON)
    return Duty.objects.get(attachment=attachment, part="")


def without(body: dict[str, Any], *names: str) -> dict[str, Any]:
    return body | {"declared": {name: said for name, said in DECLARED.items() if name not in names}}


def test_a_complete_check_discharges(body: dict[str, Any], boiler: Appliance, technician: User, manager: User) -> None:
    store(body, technician)
    duty = attach("uk-gsiur-36", manager, boiler)
    assert (duty.last_done, duty.due) == (date(2026, 3, 2), date(2027, 3, 2))
    assert (duty.visited_on, duty.not_discharged, duty.lacks) == (None, [], [])


def test_a_check_without_a_mandatory_field_does_not_move_that_duty_and_says_what_it_lacks(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    law, plain = attach("uk-gsiur-36", manager, boiler), attach("demo-neutral", manager, boiler)
    due = law.due
    store(without(body, "flue_ok", "defects"), technician)
    law, plain = (reckoned(each, LATER) for each in (law, plain))
    assert (law.due, law.last_done, law.visited_on) == (due, None, date(2026, 3, 2))
    assert law.lacks == ["flue_ok", "defects"]
    assert not_discharged_words(law.visited_on, law.not_discharged) == (
        "Visited on 2 Mar 2026, not discharged: its record lacks the flue examined, with what was found; the defects "
        "found, or that there were none."
    )
    assert (plain.last_done, plain.not_discharged) == (date(2026, 3, 2), [])


def test_a_contracts_duty_names_no_fields_and_any_check_discharges_it(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    values = {"appliance": boiler, "name": "Yearly", "source": "contract", "since": date(2025, 1, 1), "why": "signed"}
    add_duty(values=values | {"rule": {"type": "max_months", "months": 12}}, actor=manager, now=NOON)
    store(body | {"declared": {}}, technician)
    assert reckoned(Duty.objects.get(), LATER).last_done == date(2026, 3, 2)


def test_a_later_complete_check_discharges_and_the_word_goes(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    duty = attach("uk-gsiur-36", manager, boiler)
    store(without(visit_body(boiler, person, analyser, day="2026-02-01"), "flue_ok"), technician)
    assert reckoned(duty, LATER).not_discharged
    store(visit_body(boiler, person, analyser), technician)
    duty = reckoned(duty, LATER)
    assert (duty.last_done, duty.not_discharged, duty.lacks) == (date(2026, 3, 2), [], [])


def test_an_incomplete_check_after_a_complete_one_leaves_the_date_and_says_so(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    duty = attach("uk-gsiur-36", manager, boiler)
    store(visit_body(boiler, person, analyser, day="2026-01-10"), technician)
    store(without(visit_body(boiler, person, analyser), "flue_ok"), technician)
    duty = reckoned(duty, LATER)
    assert (duty.due, duty.last_done, duty.visited_on) == (date(2027, 1, 10), date(2026, 1, 10), date(2026, 3, 2))


def test_what_the_office_records_later_completes_the_check(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    """The register answers too: a room, an address, a fact of the field's own name."""
    duty = attach("uk-gsiur-36", manager, boiler)
    store(without(body, "appliance_location"), technician)
    assert reckoned(duty, LATER).lacks == ["appliance_location"]
    Appliance.objects.filter(id=boiler.id).update(room="cellar")
    assert reckoned(duty, LATER).last_done == date(2026, 3, 2)


def test_a_licence_that_was_not_in_force_holds_back_the_duty_that_asks_for_it(
    body: dict[str, Any], boiler: Appliance, person: Person, technician: User, manager: User
) -> None:
    law, plain = attach("uk-gsiur-36", manager, boiler), attach("demo-neutral", manager, boiler)
    store(body, technician)
    person.qualifications.update(valid_to="2025-12-31")
    assert reckoned(law, LATER).lacks == ["technician_licence"]
    assert reckoned(plain, LATER).last_done == date(2026, 3, 2)


def test_a_visit_that_was_no_test_says_so_in_its_own_words(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    duty = attach("demo-neutral", manager, boiler)
    stopped = {"outcome": "not tested", "outcome_reason": "nobody in", "readings": [], "work": []}
    store(body | stopped, technician)
    duty = reckoned(duty, LATER)
    said = not_discharged_words(duty.visited_on, duty.not_discharged)
    assert said == "Visited on 2 Mar 2026, not discharged: not tested: nobody in."
    assert duty.lacks == []


def test_an_unsafe_appliance_asks_for_its_notice(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    duty = attach("uk-gsiur-36", manager, boiler)
    store(body | {"disposition": {"state": "isolated", "unsafe": True}}, technician)
    assert reckoned(duty, LATER).lacks == ["unsafe_notice"]


def test_a_correction_fills_what_was_lacking(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    from fleet.intake.visits import read_visit
    from fleet.services.visits import amend_visit

    duty = attach("uk-gsiur-36", manager, boiler)
    store(without(body, "flue_ok"), technician)
    draft = read_visit(copy.deepcopy(body))
    amend_visit(draft=draft, reason="the note had it", version=1, actor=manager, now=NOON)
    assert reckoned(duty, LATER).last_done == date(2026, 3, 2)


def test_a_copy_of_a_set_asks_for_the_same_fields(boiler: Appliance, manager: User) -> None:
    law = LimitSet.objects.get(key="uk-gsiur-36")
    values = {"key": "our-copy", "name": "Our copy"}
    copied = copy_limit_set(limit_set=law, values=values, actor=manager, now=NOON)
    assert attach("our-copy", manager, boiler).regime == "gb_landlord_check"
    content = copied.current.content | {"regime": "plain"}
    add_limit_set_version(limit_set=copied, content=content, actor=manager, now=NOON, id=new_id())
    duty = Duty.objects.get()
    assert (duty.regime, duty.rule_since) == ("plain", date(2025, 1, 1))


def test_a_new_form_of_the_rule_says_since_when(boiler: Appliance, manager: User) -> None:
    duty = attach("demo-neutral", manager, boiler)
    neutral = LimitSet.objects.get(key="demo-neutral")
    content = neutral.current.content | {"interval": {"type": "max_months", "months": 6}}
    add_limit_set_version(limit_set=neutral, content=content, actor=manager, now=NOON, id=new_id())
    duty.refresh_from_db()
    assert (duty.since, duty.rule_since) == (date(2025, 1, 1), NOON.date())


def test_checks_that_an_older_program_made_are_made_again(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    store(body, technician)
    kept = VisitCheck.objects.get()
    VisitCheck.objects.update(made_with=0, answered=[], counts=False)
    assert catch_up() == 1
    assert VisitCheck.objects.get().answered == kept.answered
    VisitCheck.objects.all().delete()
    assert attach("demo-neutral", manager, boiler).last_done == date(2026, 3, 2)
    assert catch_up() == 0


def test_a_duty_as_of_an_earlier_day_knows_nothing_of_later_visits(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    attach("uk-gsiur-36", manager, boiler)
    store(visit_body(boiler, person, analyser, day="2026-01-10"), technician)
    store(without(visit_body(boiler, person, analyser), "flue_ok"), technician)
    (then,) = reckon((each, date(2026, 2, 1)) for each in duties_of([boiler.id]))
    assert (then.discharged_by and then.discharged_by.day, then.tried) == (date(2026, 1, 10), None)


# ---- run hours ----


def test_run_hours_read_at_visits_reach_the_rule(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    """Whichever later of 1 month and 750 run hours: 400 h by 2 March leave 350 h, 14 days of running at the least."""
    duty = attach("us-ca-scaqmd-1146", manager, boiler)
    for day, hours in (("2026-01-01", "1000"), ("2026-03-02", "1400")):
        body = visit_body(boiler, person, analyser, day=day)
        body["conditions"]["run_hours"] = {"value": hours, "unit": "h"}
        if hours == "1400":
            body |= {"outcome": "not tested", "outcome_reason": "counter read only", "readings": [], "work": []}
        store(body, technician)
    duty = reckoned(duty, LATER)
    assert duty.last_done == date(2026, 1, 1)
    assert "400 of 750 run hours used on 2 Mar 2026" in doubt_words(duty.cannot_tell)
    assert duty.due == date(2026, 3, 16)


# ---- everybody ----

QUESTIONS = 24


def everybody(now: datetime) -> None:
    """As the night has it."""
    propose_revisits(appliances=list(Appliance.objects.select_related("building")), now=now)


def test_everybody_is_recomputed_in_few_questions_however_many_there_are(
    boiler: Appliance,
    person: Person,
    analyser: Analyser,
    technician: User,
    manager: User,
    django_assert_num_queries: Any,
) -> None:
    for number in range(2, 6):
        store(
            visit_body(make_appliance(boiler.building, boiler.sheet, f"Boiler {number}"), person, analyser), technician
        )
    limit_set = LimitSet.objects.get(key="demo-neutral")
    values = {"limit_set": limit_set, "client": boiler.building.client, "since": date(2025, 1, 1), "why": "x"}
    attach_limit_set(values=values, actor=manager, now=NOON)
    everybody(NOON)
    with django_assert_num_queries(QUESTIONS):
        everybody(NOON)


def test_only_what_changed_is_written_and_looked_at_again(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    other = make_appliance(boiler.building, boiler.sheet, "Boiler 2")
    mine, theirs = attach("demo-neutral", manager, boiler), attach("fr-4-400kw", manager, other)
    Duty.objects.filter(id=mine.id).update(due=date(2020, 1, 1), name="Renamed meanwhile")
    everybody(NOON)
    again, untouched = Duty.objects.get(id=mine.id), Duty.objects.get(id=theirs.id)
    assert (again.due, again.name, again.version) == (mine.due, "Renamed meanwhile", mine.version + 1)
    assert untouched.version == theirs.version


def test_a_boiler_that_turns_twelve_is_noticed_by_itself(
    body: dict[str, Any], boiler: Appliance, manager: User
) -> None:
    """1. BImSchV sec. 15(3): every second calendar year from over twelve years on."""
    Appliance.objects.filter(id=boiler.id).update(in_service_from=date(2014, 6, 1))
    boiler.refresh_from_db()
    duty = attach("de-1bimschv", manager, boiler)
    everybody(NOON)
    before, version = duty.due, duty.version
    duty.refresh_from_db()
    assert (duty.due, duty.version) == (before, version)
    everybody(NOON + timedelta(days=120))
    duty.refresh_from_db()
    assert before and duty.due and duty.due < before


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Honolulu"])
def test_the_day_is_the_buildings(boiler: Appliance, manager: User, zone: str) -> None:
    """At noon UTC of 2 March it is the 3rd on Kiritimati and the 2nd in Honolulu."""
    boiler.building.time_zone = zone
    boiler.building.save()
    Appliance.objects.filter(id=boiler.id).update(in_service_from=date(2014, 3, 3))
    boiler.refresh_from_db()
    duty = attach("de-1bimschv", manager, boiler)
    everybody(NOON)
    duty.refresh_from_db()
    assert refresh_appliance(appliance=boiler, now=NOON) is not None
    again = Duty.objects.get()
    assert (again.due, again.version) == (duty.due, duty.version)
