"""Visit done and required check counted are different facts: what a check lacks, for which required check, and what
follows.
"""

import copy
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from fleet.assess.due.due_dates import calculate
from fleet.assess.due.required_checks import required_checks_of
from fleet.models import Analyser, Appliance, LimitSet, Person, RequiredCheck, User, VisitCheck
from fleet.models.register import new_id
from fleet.presentation.due_dates import doubt_words, not_counted_words
from fleet.services.judgements import catch_up
from fleet.services.limit_sets import add_limit_set_version, assign_limit_set, copy_limit_set
from fleet.services.required_checks import add_required_check
from fleet.services.revisits import propose_revisits, refresh_appliance
from tests.cast import INSPECTION_POINTS, NOON, calculated, make_appliance, store, visit_body

LATER = date(2026, 3, 3)


def attach(key: str, actor: User, appliance: Appliance) -> RequiredCheck:
    place = {"limit_set": LimitSet.objects.get(key=key), "appliance": appliance, "since": date(2025, 1, 1), "why": "x"}
    assignment = assign_limit_set(values=place, actor=actor, now=NOON)
    return RequiredCheck.objects.get(assignment=assignment, part="")


def without(body: dict[str, Any], *names: str) -> dict[str, Any]:
    return body | {"inspection_points": {name: said for name, said in INSPECTION_POINTS.items() if name not in names}}


def test_a_complete_check_counts(body: dict[str, Any], boiler: Appliance, technician: User, manager: User) -> None:
    store(body, technician)
    required_check = attach("uk-gsiur-36", manager, boiler)
    assert (required_check.last_done, required_check.due) == (date(2026, 3, 2), date(2027, 3, 2))
    assert (required_check.visited_on, required_check.not_counted, required_check.lacks) == (None, [], [])


def test_a_check_without_a_mandatory_field_does_not_move_that_required_check_and_says_what_it_lacks(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    law, plain = attach("uk-gsiur-36", manager, boiler), attach("demo-neutral", manager, boiler)
    due = law.due
    store(without(body, "flue_ok", "defects"), technician)
    law, plain = (calculated(each, LATER) for each in (law, plain))
    assert (law.due, law.last_done, law.visited_on) == (due, None, date(2026, 3, 2))
    assert law.lacks == ["flue_ok", "defects"]
    assert not_counted_words(law.visited_on, law.not_counted) == (
        "Visited on 2 March 2026, doesn't count: its record lacks the flue examined, with what was found; the defects "
        "found, or that there were none."
    )
    assert (plain.last_done, plain.not_counted) == (date(2026, 3, 2), [])


def test_a_contracts_required_check_names_no_fields_and_any_check_counts_it(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    values = {"appliance": boiler, "name": "Yearly", "source": "contract", "since": date(2025, 1, 1), "why": "signed"}
    add_required_check(values=values | {"rule": {"type": "max_months", "months": 12}}, actor=manager, now=NOON)
    store(body | {"inspection_points": {}}, technician)
    assert calculated(RequiredCheck.objects.get(), LATER).last_done == date(2026, 3, 2)


def test_a_later_complete_check_counts_and_the_word_goes(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    required_check = attach("uk-gsiur-36", manager, boiler)
    store(without(visit_body(boiler, person, analyser, day="2026-02-01"), "flue_ok"), technician)
    assert calculated(required_check, LATER).not_counted
    store(visit_body(boiler, person, analyser), technician)
    required_check = calculated(required_check, LATER)
    assert (required_check.last_done, required_check.not_counted, required_check.lacks) == (date(2026, 3, 2), [], [])


def test_an_incomplete_check_after_a_complete_one_leaves_the_date_and_says_so(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    required_check = attach("uk-gsiur-36", manager, boiler)
    store(visit_body(boiler, person, analyser, day="2026-01-10"), technician)
    store(without(visit_body(boiler, person, analyser), "flue_ok"), technician)
    required_check = calculated(required_check, LATER)
    assert (required_check.due, required_check.last_done, required_check.visited_on) == (
        date(2027, 1, 10),
        date(2026, 1, 10),
        date(2026, 3, 2),
    )


def test_what_the_office_records_later_completes_the_check(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    """The register answers too: a room, an address, a fact of the field's own name."""
    required_check = attach("uk-gsiur-36", manager, boiler)
    store(without(body, "appliance_location"), technician)
    assert calculated(required_check, LATER).lacks == ["appliance_location"]
    Appliance.objects.filter(id=boiler.id).update(room="cellar")
    assert calculated(required_check, LATER).last_done == date(2026, 3, 2)


def test_a_licence_that_was_not_in_force_holds_back_the_required_check_that_asks_for_it(
    body: dict[str, Any], boiler: Appliance, person: Person, technician: User, manager: User
) -> None:
    law, plain = attach("uk-gsiur-36", manager, boiler), attach("demo-neutral", manager, boiler)
    store(body, technician)
    person.qualifications.update(valid_to="2025-12-31")
    assert calculated(law, LATER).lacks == ["technician_licence"]
    assert calculated(plain, LATER).last_done == date(2026, 3, 2)


def test_a_visit_that_was_no_test_says_so_in_its_own_words(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    required_check = attach("demo-neutral", manager, boiler)
    stopped = {"outcome": "not_tested", "outcome_reason": "nobody in", "readings": [], "work": []}
    store(body | stopped, technician)
    required_check = calculated(required_check, LATER)
    said = not_counted_words(required_check.visited_on, required_check.not_counted)
    assert said == "Visited on 2 March 2026, doesn't count: not tested: nobody in."
    assert required_check.lacks == []


def test_an_unsafe_appliance_asks_for_its_notice(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    required_check = attach("uk-gsiur-36", manager, boiler)
    store(body | {"disposition": {"state": "isolated", "unsafe": True}}, technician)
    assert calculated(required_check, LATER).lacks == ["unsafe_notice"]


def test_a_correction_fills_what_was_lacking(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    from fleet.intake.visits import read_visit
    from fleet.services.visits import amend_visit

    required_check = attach("uk-gsiur-36", manager, boiler)
    store(without(body, "flue_ok"), technician)
    draft = read_visit(copy.deepcopy(body))
    amend_visit(draft=draft, reason="the note had it", version=1, actor=manager, now=NOON)
    assert calculated(required_check, LATER).last_done == date(2026, 3, 2)


def test_a_copy_of_a_set_asks_for_the_same_fields(boiler: Appliance, manager: User) -> None:
    law = LimitSet.objects.get(key="uk-gsiur-36")
    values = {"key": "our-copy", "name": "Our copy"}
    copied = copy_limit_set(limit_set=law, values=values, actor=manager, now=NOON)
    assert attach("our-copy", manager, boiler).required_fields == "gb_landlord_check"
    content = copied.current.content | {"required_fields": "plain"}
    add_limit_set_version(limit_set=copied, content=content, actor=manager, now=NOON, id=new_id())
    required_check = RequiredCheck.objects.get()
    assert (required_check.required_fields, required_check.rule_since) == ("plain", date(2025, 1, 1))


def test_a_new_form_of_the_rule_says_since_when(boiler: Appliance, manager: User) -> None:
    required_check = attach("demo-neutral", manager, boiler)
    neutral = LimitSet.objects.get(key="demo-neutral")
    content = neutral.current.content | {"interval": {"type": "max_months", "months": 6}}
    add_limit_set_version(limit_set=neutral, content=content, actor=manager, now=NOON, id=new_id())
    required_check.refresh_from_db()
    assert (required_check.since, required_check.rule_since) == (date(2025, 1, 1), NOON.date())


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


def test_a_required_check_as_of_an_earlier_day_knows_nothing_of_later_visits(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    attach("uk-gsiur-36", manager, boiler)
    store(visit_body(boiler, person, analyser, day="2026-01-10"), technician)
    store(without(visit_body(boiler, person, analyser), "flue_ok"), technician)
    (then,) = calculate((each, date(2026, 2, 1)) for each in required_checks_of([boiler.id]))
    assert (then.counted_by and then.counted_by.day, then.tried) == (date(2026, 1, 10), None)


# ---- run hours ----


def test_run_hours_read_at_visits_reach_the_rule(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    """Whichever later of 1 month and 750 run hours: 400 h by 2 March leave 350 h, 14 days of running at the least."""
    required_check = attach("us-ca-scaqmd-1146", manager, boiler)
    for day, hours in (("2026-01-01", "1000"), ("2026-03-02", "1400")):
        body = visit_body(boiler, person, analyser, day=day)
        body["conditions"]["run_hours"] = {"value": hours, "unit": "h"}
        if hours == "1400":
            body |= {"outcome": "not_tested", "outcome_reason": "counter read only", "readings": [], "work": []}
        store(body, technician)
    required_check = calculated(required_check, LATER)
    assert required_check.last_done == date(2026, 1, 1)
    assert "400 of 750 run hours used on 2 March 2026" in doubt_words(required_check.cannot_tell)
    assert required_check.due == date(2026, 3, 16)


# ---- everybody ----

QUESTIONS = 26


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
    assign_limit_set(values=values, actor=manager, now=NOON)
    everybody(NOON)
    with django_assert_num_queries(QUESTIONS):
        everybody(NOON)


def test_only_what_changed_is_written_and_looked_at_again(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    other = make_appliance(boiler.building, boiler.sheet, "Boiler 2")
    mine, theirs = attach("demo-neutral", manager, boiler), attach("fr-4-400kw", manager, other)
    RequiredCheck.objects.filter(id=mine.id).update(due=date(2020, 1, 1), name="Renamed meanwhile")
    everybody(NOON)
    again, untouched = RequiredCheck.objects.get(id=mine.id), RequiredCheck.objects.get(id=theirs.id)
    assert (again.due, again.name, again.version) == (mine.due, "Renamed meanwhile", mine.version + 1)
    assert untouched.version == theirs.version


def test_a_boiler_that_turns_twelve_is_noticed_by_itself(
    body: dict[str, Any], boiler: Appliance, manager: User
) -> None:
    """1. BImSchV sec. 15(3): every second calendar year from over twelve years on."""
    Appliance.objects.filter(id=boiler.id).update(in_service_from=date(2014, 6, 1))
    boiler.refresh_from_db()
    required_check = attach("de-1bimschv", manager, boiler)
    everybody(NOON)
    before, version = required_check.due, required_check.version
    required_check.refresh_from_db()
    assert (required_check.due, required_check.version) == (before, version)
    everybody(NOON + timedelta(days=120))
    required_check.refresh_from_db()
    assert before and required_check.due and required_check.due < before


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Pacific/Honolulu"])
def test_the_day_is_the_buildings(boiler: Appliance, manager: User, zone: str) -> None:
    """At noon UTC of 2 March it is the 3rd on Kiritimati and the 2nd in Honolulu."""
    boiler.building.time_zone = zone
    boiler.building.save()
    Appliance.objects.filter(id=boiler.id).update(in_service_from=date(2014, 3, 3))
    boiler.refresh_from_db()
    required_check = attach("de-1bimschv", manager, boiler)
    everybody(NOON)
    required_check.refresh_from_db()
    assert refresh_appliance(appliance=boiler, now=NOON) is not None
    again = RequiredCheck.objects.get()
    assert (again.due, again.version) == (required_check.due, required_check.version)
