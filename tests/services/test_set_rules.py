"""What a set's rules ask for beyond one interval: further required checks, passes in a row, changes, a flue that is
shared.
"""

from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.assess.consequences import consequences_of
from fleet.assess.due.due_dates import calculate
from fleet.assess.due.required_checks import with_facts
from fleet.assess.due.rule_facts import is_pass
from fleet.models import (
    Analyser,
    Appliance,
    Building,
    FlueGroup,
    Job,
    LimitSet,
    LimitSetAssignment,
    LimitSetVersion,
    Person,
    RequiredCheck,
    User,
)
from fleet.models.register import new_id
from fleet.presentation.consequences import due_change_words
from fleet.presentation.due_dates import date_words, doubt_words, what_if_words
from fleet.queries.required_checks import what_if_appliance
from fleet.queries.sheets import all_limit_sets
from fleet.services.appliances import change_appliance, take_on_appliance
from fleet.services.gas_conversions import convert_appliance
from fleet.services.limit_sets import add_limit_set_version, assign_limit_set, change_assignment, make_limit_set
from fleet.services.revisits import propose_revisits
from tests.cast import INSPECTION_POINTS, NOON, calculated, make_appliance, make_building, measured, store, visit_body
from tests.limits.cast import make_verdict

TODAY = date(2026, 3, 2)
SOURCE = "invented for tests"
TUNE_UP = {"name": "tune-up", "type": "max_months", "months": 6, "select": {"low_use": True}}
CONTENT: dict[str, Any] = {
    "name": "House rules", "jurisdiction": "any", "kind": "contract", "evidence": "own", "decision_rule": "simple",
    "interval": {"type": "max_months", "months": 12}, "extra_intervals": [TUNE_UP], "limits": [], "sources": [],
}  # fmt: skip
CO_LIMIT = {
    "id": "co", "quantity": "co", "unit": "ppm", "basis": "as_measured", "firing_rate": "any", "when": "any",
    "fires_when": {"op": ">", "value": "100"}, "limit_text": "<= 100", "severity": "out_of_limit", "source": SOURCE,
    "evidence": "own",
}  # fmt: skip
PORTABLE = {
    "type": "months_or_hours_first", "months": 1, "hours": 100_000,
    "relax_after_passes": {"passes": 3, "months": 3, "hours": 100_000},
}  # fmt: skip


def house_set(actor: User, **changes: Any) -> LimitSet:
    values = {"key": "house", "name": "House rules"}
    return make_limit_set(values=values, content=CONTENT | changes, actor=actor, now=NOON)


def under(limit_set: LimitSet, actor: User, since: date = date(2025, 1, 1), **place: Any) -> LimitSetAssignment:
    values = {"limit_set": limit_set, "since": since, "why": "agreed"} | place
    return assign_limit_set(values=values, actor=actor, now=NOON)


def shipped(key: str) -> LimitSet:
    return LimitSet.objects.get(key=key)


def version(limit_set: LimitSet, actor: User, **changes: Any) -> None:
    content = {name: value for name, value in (CONTENT | changes).items() if value is not None}
    add_limit_set_version(limit_set=limit_set, content=content, actor=actor, now=NOON, id=new_id())


def with_known(appliance: Appliance, **facts: Any) -> Appliance:
    appliance.facts = appliance.facts | facts
    appliance.save()
    return appliance


def only(appliance: Appliance, part: str = "") -> RequiredCheck:
    """Its standing required check by that rule, calculated anew."""
    return calculated(RequiredCheck.objects.get(appliance=appliance, part=part, until__isnull=True), TODAY)


# ---- further rules of a set ----


def test_each_rule_of_a_set_opens_a_required_check_with_its_own_name_and_clock(
    boiler: Appliance, manager: User
) -> None:
    with_known(boiler, low_use=True)
    under(house_set(manager), manager, appliance=boiler)
    own, extra = RequiredCheck.objects.order_by("part")
    assert (own.part, own.name, own.due) == ("", "House rules", date(2026, 1, 1))
    assert (extra.part, extra.name, extra.due) == ("tune-up", "House rules: tune-up", date(2025, 7, 1))
    assert (
        date_words(extra.steps)
        == "No check on record, counted from the start: 1 January 2025 plus 6 months is 1 July 2025."
    )


def test_until_somebody_recorded_the_fact_an_extra_required_check_says_that_it_cannot_tell(
    boiler: Appliance, manager: User
) -> None:
    under(shipped("us-ca-scaqmd-1146"), manager, appliance=boiler)
    extra = only(boiler, "low-use tune-up")
    assert doubt_words(extra.cannot_tell) == "low use not recorded: whether it is asked for at all can't be told"
    assert extra.due == date(2025, 9, 1)
    with_known(boiler, low_use=False)
    extra = only(boiler, "low-use tune-up")
    assert (extra.due, doubt_words(extra.cannot_tell)) == (None, "")
    assert (
        date_words(extra.steps)
        == "It is asked for only of appliances of a kind: low use; the register says otherwise, so nothing falls due."
    )
    with_known(boiler, low_use=True)
    assert (only(boiler, "low-use tune-up").due, doubt_words(only(boiler, "low-use tune-up").cannot_tell)) == (
        date(2025, 9, 1),
        "",
    )


def test_a_new_version_adds_changes_and_ends_single_rules(boiler: Appliance, manager: User) -> None:
    limit_set = house_set(manager)
    under(limit_set, manager, appliance=boiler)
    own = RequiredCheck.objects.get(part="")
    sweep = {"name": "sweep", "type": "max_months", "months": 24}
    version(limit_set, manager, extra_intervals=[TUNE_UP | {"months": 9}, sweep])
    tune_up, added = RequiredCheck.objects.get(part="tune-up"), RequiredCheck.objects.get(part="sweep")
    assert (tune_up.due, tune_up.rule_since, tune_up.until) == (date(2025, 10, 1), TODAY, None)
    assert (added.name, added.due) == ("House rules: sweep", date(2027, 1, 1))
    version(limit_set, manager, extra_intervals=[sweep])
    tune_up = RequiredCheck.objects.get(part="tune-up")
    assert (tune_up.until, tune_up.ended_why) == (TODAY, RequiredCheck.Ended.WITH_VERSION)
    version(limit_set, manager, extra_intervals=None)
    assert list(RequiredCheck.objects.filter(until__isnull=True)) == [own]
    assert (RequiredCheck.objects.get(part="").version, RequiredCheck.objects.get(part="").rule) == (
        own.version,
        own.rule,
    )


def test_a_version_saved_by_somebody_who_read_the_set_before_opens_what_the_new_one_asks_for(
    boiler: Appliance, manager: User
) -> None:
    """The doors fetch a set together with its versions of that moment."""
    under(house_set(manager, interval={"type": "none"}, extra_intervals=None), manager, appliance=boiler)
    assert not RequiredCheck.objects.exists()
    sweep = {"name": "sweep", "type": "max_months", "months": 24}
    version(all_limit_sets(manager).get(key="house"), manager, extra_intervals=[sweep])
    assert list(RequiredCheck.objects.order_by("part").values_list("part", "until")) == [("", None), ("sweep", None)]
    version(all_limit_sets(manager).get(key="house"), manager, extra_intervals=None)
    assert list(RequiredCheck.objects.order_by("part").values_list("part", "until")) == [("", None), ("sweep", TODAY)]


def test_a_set_without_an_interval_of_its_own_still_has_its_further_ones(boiler: Appliance, manager: User) -> None:
    limit_set = house_set(manager, interval={"type": "none"})
    under(limit_set, manager, appliance=boiler)
    assert [each.part for each in RequiredCheck.objects.all()] == ["tune-up"]
    version(limit_set, manager, interval={"type": "none"}, extra_intervals=None)
    assert not RequiredCheck.objects.filter(until__isnull=True).exists()


def test_all_required_checks_of_a_set_end_with_its_assignment_and_none_that_ended_before_moves(
    boiler: Appliance, manager: User
) -> None:
    limit_set = house_set(manager)
    assignment = under(limit_set, manager, appliance=boiler)
    version(limit_set, manager, extra_intervals=None)
    changes = {"until": date(2026, 2, 1)}
    change_assignment(assignment=assignment, version=assignment.version, changes=changes, actor=manager, now=NOON)
    ended = dict(RequiredCheck.objects.values_list("part", "until"))
    assert ended == {"": date(2026, 2, 1), "tune-up": TODAY}


def test_the_same_rule_again_opens_no_second_required_check_and_a_new_appliance_gets_them_all(
    building: Building, boiler: Appliance, manager: User
) -> None:
    limit_set = house_set(manager)
    under(limit_set, manager, building=building)
    version(limit_set, manager)
    assert RequiredCheck.objects.count() == 2
    values = {"building": building, "name": "Boiler 2", "in_service_from": date(2026, 1, 5)}
    second = take_on_appliance(values=values, actor=manager, now=NOON)
    assert sorted(second.required_checks.values_list("part", flat=True)) == ["", "tune-up"]


def test_a_further_rule_may_ask_for_other_fields_than_the_set(boiler: Appliance, manager: User) -> None:
    extra = TUNE_UP | {"required_fields": "us_area_tune_up"}
    under(house_set(manager, required_fields="plain", extra_intervals=[extra]), manager, appliance=boiler)
    assert dict(RequiredCheck.objects.values_list("part", "required_fields")) == {
        "": "plain",
        "tune-up": "us_area_tune_up",
    }


def test_what_a_version_of_old_held_under_further_intervals_opens_nothing_it_can_not_calculate_with(
    boiler: Appliance, manager: User
) -> None:
    odd = [
        {"name": "x", "type": "whenever"},
        {"type": "max_months", "months": 6},
        "yearly",
        {"name": "y", "type": "none"},
    ]
    for extra in (odd, "yearly", {"a": 1}):
        limit_set = make_limit_set(
            values={"key": f"old-{new_id()}", "name": "Old"}, content=CONTENT | {"extra_intervals": extra},
            actor=manager, now=NOON,
        )  # fmt: skip
        under(limit_set, manager, appliance=boiler)
    assert set(RequiredCheck.objects.values_list("part", flat=True)) == {""}


def test_a_draft_says_which_further_required_checks_begin_change_and_end(boiler: Appliance, manager: User) -> None:
    with_known(boiler, low_use=True)
    limit_set = house_set(manager)
    under(limit_set, manager, appliance=boiler)
    sweep = {"name": "sweep", "type": "max_months", "months": 24}

    def dues(extra: list[dict[str, Any]]) -> list[tuple[Any, ...]]:
        draft = LimitSetVersion(limit_set=limit_set, number=2, content=CONTENT | {"extra_intervals": extra})
        (found,) = consequences_of(draft, day=TODAY)
        return sorted((each.name, each.before, each.after) for each in found.dues)

    name = "House rules: tune-up"
    assert dues([TUNE_UP]) == []
    assert dues([TUNE_UP | {"months": 9}]) == [(name, date(2025, 7, 1), date(2025, 10, 1))]
    assert dues([sweep]) == [("House rules: sweep", None, date(2027, 1, 1)), (name, date(2025, 7, 1), None)]


def test_a_draft_that_makes_a_date_uncertain_says_so(boiler: Appliance, manager: User) -> None:
    limit_set = house_set(manager, extra_intervals=[])
    under(limit_set, manager, appliance=boiler)
    only_there = CONTENT["interval"] | {"select": {"low_use": True}}
    content = CONTENT | {"interval": only_there, "extra_intervals": []}
    (found,) = consequences_of(LimitSetVersion(limit_set=limit_set, number=2, content=content), day=TODAY)
    (change,) = found.dues
    assert due_change_words(change) == (
        "House rules: due 1 January 2026 until now, 1 January 2026 at the earliest (low use not recorded: whether "
        "it is asked for at all can't be told) from now on."
    )


def test_what_if_answers_for_each_rule_of_the_set(boiler: Appliance, manager: User) -> None:
    with_known(boiler, low_use=False)
    under(house_set(manager), manager, appliance=boiler)
    said = {
        each.required_check.part: what_if_words(each.answer)
        for each in what_if_appliance(manager, boiler.id, TODAY, NOON).required_checks
    }
    assert said[""].startswith("60 days late: due by 1 January 2026.")
    assert said["tune-up"] == (
        "It is asked for only of appliances of a kind: low use; the register says otherwise, so nothing falls due."
    )


# ---- passes in a row ----


@pytest.fixture
def portable(boiler: Appliance, manager: User) -> RequiredCheck:
    limit_set = house_set(manager, interval=PORTABLE, limits=[CO_LIMIT], extra_intervals=[])
    under(limit_set, manager, appliance=boiler)
    return RequiredCheck.objects.get()


def checked(boiler: Appliance, person: Person, analyser: Analyser, actor: User, day: str, co: str = "40") -> None:
    store(visit_body(boiler, person, analyser, day=day, co=co), actor)


def months_given(required_check: RequiredCheck) -> int:
    """How many months after the last check it is due, by the records as they stand."""
    made = calculated(required_check, TODAY)
    assert made.due is not None and made.last_done is not None
    return round((made.due - made.last_done).days / 30.4)


def test_three_passes_in_a_row_lengthen_the_interval_and_a_failure_ends_them(
    portable: RequiredCheck, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    said = []
    for day, co in (
        ("2025-03-03", "40"), ("2025-04-03", "40"), ("2025-05-03", "40"), ("2025-06-03", "300"),
        ("2025-07-03", "40"), ("2025-08-03", "40"), ("2025-09-03", "40"),
    ):  # fmt: skip
        checked(boiler, person, analyser, technician, day, co)
        said.append(months_given(portable))
    assert said == [1, 1, 3, 1, 1, 1, 3]


def test_passes_are_counted_as_of_the_day_that_is_asked_about(
    portable: RequiredCheck, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    for day in ("2025-03-03", "2025-04-03", "2025-05-03"):
        checked(boiler, person, analyser, technician, day)
    (required_check,) = with_facts(RequiredCheck.objects.all())
    days = [date(2025, 4, 10), date(2025, 5, 10)]
    assert [each.facts["consecutive_passes"] for each in calculate((required_check, day) for day in days)] == [2, 3]


def test_a_record_that_is_no_evidence_is_no_pass(
    portable: RequiredCheck, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    for day in ("2025-03-03", "2025-04-03", "2025-05-03"):
        checked(boiler, person, analyser, technician, day)
    analyser.calibrations.update(valid_to=date(2025, 4, 30))
    assert months_given(portable) == 1


NOX_LIMIT = CO_LIMIT | {"id": "nox", "quantity": "nox", "fires_when": {"op": ">", "value": "9"}, "limit_text": "<= 9"}


@pytest.mark.parametrize(("nox", "passes"), [("60", 0), ("5", 3)])
def test_a_visit_that_is_no_check_ends_a_run_by_what_it_found_outside_and_adds_to_none(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User, nox: str, passes: int
) -> None:
    """Only nitrogen oxides were read: it counts for nothing, yet they are beyond the limit, or within it."""
    analyser.measures = [*analyser.measures, "nox"]
    analyser.save()
    limit_set = house_set(manager, interval=PORTABLE, limits=[CO_LIMIT, NOX_LIMIT], extra_intervals=[])
    under(limit_set, manager, appliance=boiler)

    def visited(day: str, nox: str, *, co: bool) -> None:
        body = visit_body(boiler, person, analyser, day=day)
        for each in body["readings"]:
            each["values"]["nox"] = measured(nox, "ppm")
            if not co:
                del each["values"]["co"]
        store(body, technician)

    for day in ("2025-12-02", "2026-01-02", "2026-02-02"):
        visited(day, "5", co=True)
    visited("2026-02-20", nox, co=False)
    (made,) = calculate([(with_facts(RequiredCheck.objects.all())[0], TODAY)])
    assert made.counted_by is not None
    assert (made.counted_by.day, made.facts["consecutive_passes"]) == (date(2026, 2, 2), passes)


def verdict(outcome: str, *, phase: str | None = "as_left", limit: str = "co", key: str = "house", **more: Any) -> Any:
    row = {"kind": "limit", "set_id": key, "limit_id": limit, "quantity": "co", "rate": "high", "phase": phase}
    return make_verdict(**row | {"reading_key": "1", "severity": "out_of_limit", "outcome": outcome} | more)


@pytest.mark.parametrize(
    ("verdicts", "passed"),
    [
        ([verdict("within")], True),
        ([verdict("within"), verdict("outside", key="another")], True),
        ([verdict("within"), verdict("outside", severity="record", limit="x")], True),
        ([verdict("within"), verdict("not_judged")], True),
        ([], False),
        ([verdict("within", key="another")], False),
        ([verdict("within"), verdict("outside", phase="as_found")], False),
        ([verdict("within"), verdict("cannot_tell", rate="low")], False),
        ([verdict("within"), verdict("not_judged", limit="nox", reading_key=None, phase=None)], False),
        ([verdict("not_judged")], False),
    ],
)
def test_a_pass_is_every_limit_of_the_set_judged_within(verdicts: list[Any], passed: bool) -> None:
    assert is_pass(verdicts, "house") is passed


def test_where_the_set_s_limits_were_not_judged_no_pass_is_counted(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    """Nitrogen oxides were never read, so the shipped set's limits are not all judged."""
    under(shipped("us-ca-scaqmd-1146"), manager, appliance=boiler)
    for day in ("2025-03-03", "2025-04-03", "2025-05-03", "2025-06-03"):
        checked(boiler, person, analyser, technician, day)
    (required_check,) = with_facts(RequiredCheck.objects.filter(part=""))
    (made,) = calculate([(required_check, TODAY)])
    assert made.facts["consecutive_passes"] == 0
    assert date_words(made.due.steps).startswith("3 June 2025 plus 1 month is 3 July 2025, or 750 run hours")


# ---- a change that moves the emissions ----


def test_a_recorded_change_asks_for_a_measurement_within_four_months(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    under(shipped("de-44bimschv-small"), manager, appliance=boiler)
    checked(boiler, person, analyser, technician, "2025-06-10")
    assert only(boiler).due == date(2028, 6, 10)
    change_appliance(
        appliance=boiler,
        version=boiler.version,
        changes={"facts": {"burner_change_on": "2026-02-01"}},
        actor=manager,
        now=NOON,
    )
    required_check = only(boiler)
    assert required_check.due == date(2026, 6, 1)
    assert date_words(required_check.steps) == (
        "4 months after emission relevant change on 1 February 2026 is 1 June 2026; without it: 10 June 2025 "
        "plus 36 months "
        "is 10 June 2028."
    )
    (supposed,) = what_if_appliance(manager, boiler.id, date(2026, 4, 1), NOON).required_checks
    assert supposed.answer.after.due == date(2029, 4, 1)
    checked(boiler, person, analyser, technician, "2026-02-20")
    assert only(boiler).due == date(2029, 2, 20)


def test_a_gas_conversion_is_such_a_change(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    under(shipped("de-44bimschv-small"), manager, appliance=boiler)
    checked(boiler, person, analyser, technician, "2025-06-10")
    content = {"converted_on": "2026-02-10", "to_fuel": "propane", "kit": "Kit 7", "label": "fitted",
               "analyser_fuel": "propane", "done_by": "Ada Test", "test_within_days": 28}  # fmt: skip
    convert_appliance(appliance=boiler, version=boiler.version, content=content, sheet=None, actor=manager, now=NOON,
                      id=new_id())  # fmt: skip
    required_check = RequiredCheck.objects.get(appliance=boiler, source="limit_set")
    assert calculated(required_check, TODAY).due == date(2026, 6, 10)


def test_a_permit_asks_for_a_measurement_by_the_directive(boiler: Appliance, manager: User) -> None:
    under(shipped("eu-mcpd"), manager, appliance=boiler)
    with_known(boiler, thermal_input_mw=2)
    assert only(boiler).due == date(2028, 1, 1)
    with_known(boiler, permit_on="2026-02-01")
    assert (only(boiler).due, doubt_words(only(boiler).cannot_tell)) == (date(2026, 6, 1), "")


# ---- asked for once ----


def test_a_heating_check_is_due_once_by_the_day_of_installation(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    under(shipped("de-geg-60b"), manager, appliance=boiler)
    required_check = only(boiler)
    assert (required_check.due, required_check.earliest_keep, required_check.required_fields) == (
        date(2031, 1, 1),
        date(2030, 1, 1),
        "de_heating_check",
    )
    with_known(boiler, installation_on="2005-06-01")
    assert only(boiler).due == date(2027, 9, 30)
    body = visit_body(boiler, person, analyser)
    store(body, technician)
    tried = only(boiler)
    assert (tried.due, tried.lacks) == (date(2027, 9, 30), ["heating_check_result"])
    again = visit_body(boiler, person, analyser, day="2026-03-01")
    store(
        again | {"inspection_points": INSPECTION_POINTS | {"heating_check_result": "report of 1 March 2026"}},
        technician,
    )
    done = only(boiler)
    assert (done.due, done.cannot_tell, done.last_done, done.not_counted) == (None, [], date(2026, 3, 1), [])
    assert date_words(done.steps) == "Done on 1 March 2026; it was asked for once, so nothing more falls due."


def test_a_check_before_one_is_asked_for_counts_nothing(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    """Complete, but it counts only from 2030: the required check says of no check that it counted it."""
    under(shipped("de-geg-60b"), manager, appliance=boiler)
    with_known(boiler, installation_on="2015-01-01")
    written = {"inspection_points": INSPECTION_POINTS | {"heating_check_result": "report of 2 March 2026"}}
    store(visit_body(boiler, person, analyser) | written, technician)
    required_check = only(boiler)
    assert (required_check.due, required_check.last_done, required_check.not_counted) == (date(2031, 1, 1), None, [])


def test_a_day_on_record_that_lies_beyond_all_reach_stops_no_other_required_check(
    boiler: Appliance, manager: User
) -> None:
    """As it was accepted once: the required check that asks for it can't tell, all others go on."""
    with_known(boiler, installation_on="9999-01-01")
    under(shipped("de-geg-60b"), manager, appliance=boiler)
    under(shipped("uk-gsiur-36"), manager, appliance=boiler)
    RequiredCheck.objects.update(due=None, steps=[], cannot_tell=[])
    propose_revisits(appliances=[boiler], now=NOON)
    told = dict(RequiredCheck.objects.values_list("assignment__limit_set__key", "cannot_tell"))
    said = {key: doubt_words(doubts) for key, doubts in told.items()}
    assert said == {"de-geg-60b": "no date of installation recorded", "uk-gsiur-36": ""}
    assert RequiredCheck.objects.get(cannot_tell=[]).due == date(2026, 1, 1)


# ---- one flue ----


@pytest.fixture
def on_one_flue(building: Building, boiler: Appliance, manager: User) -> tuple[Appliance, Appliance]:
    flue = FlueGroup.objects.create(building=building, name="Flue A")
    second = make_appliance(
        building, None, "Boiler 2", flue_group=flue, facts={"room_sealed": False, "condensing": False}
    )
    boiler.flue_group = flue
    with_known(boiler, room_sealed=True, self_calibrating=False, positive_pressure_flue=False)
    return boiler, second


def test_the_strictest_interval_on_a_flue_goes_for_each_appliance_on_it(
    on_one_flue: tuple[Appliance, Appliance], person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    sealed, second = on_one_flue
    under(shipped("de-kueo-co"), manager, building=sealed.building)
    checked(sealed, person, analyser, technician, "2025-03-05")
    required_check = only(sealed)
    assert (required_check.due, doubt_words(required_check.cannot_tell)) == (date(2026, 12, 31), "")
    assert date_words(required_check.steps).endswith(
        "by Boiler 2, the strictest of the 2 on its flue (by its own facts alone 31 December 2027)."
    )
    Job.objects.all().delete()
    change_appliance(
        appliance=second, version=second.version, changes={"in_service_to": date(2026, 2, 1)}, actor=manager, now=NOON
    )
    assert Job.objects.filter(kind="refresh_appliance", key=str(sealed.id)).exists()
    required_check = only(sealed)
    assert (required_check.due, date_words(required_check.steps)) == (
        date(2027, 12, 31), "Calendar year 2025 plus 2 is 2027: 31 December 2027 at the latest."
    )  # fmt: skip


def test_an_appliance_on_the_flue_of_which_a_fact_is_missing_leaves_a_doubt_with_its_name(
    on_one_flue: tuple[Appliance, Appliance], person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    sealed, second = on_one_flue
    second.facts = {}
    second.save()
    under(shipped("de-kueo-co"), manager, appliance=sealed)
    checked(sealed, person, analyser, technician, "2025-03-05")
    required_check = only(sealed)
    assert required_check.due == date(2026, 12, 31)
    assert doubt_words(required_check.cannot_tell).startswith("Boiler 2: room-sealed")


def test_a_doubt_with_long_names_is_kept_whole(
    on_one_flue: tuple[Appliance, Appliance], person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    sealed, second = on_one_flue
    second.name, second.facts = "B" * 100, {}
    second.save()
    long = {letter * 79: True for letter in "vw"}
    rule = {"type": "max_months", "months": 12, "shared_flue": "strictest", "select": {"s" * 158: True},
            "variants": [{"select": long, "months": 6}]}  # fmt: skip
    under(house_set(manager, interval=rule, extra_intervals=[]), manager, appliance=sealed)
    with_known(sealed, **dict.fromkeys(long, False))
    checked(sealed, person, analyser, technician, "2025-03-05")
    said = doubt_words(only(sealed).cannot_tell)
    assert all(name in said for name in ("B" * 100, "s" * 158, *long))


# ---- how much is read ----


def queries(required_checks: list[RequiredCheck]) -> int:
    with CaptureQueriesContext(connection) as caught:
        calculate((each, TODAY) for each in required_checks)
    return len(caught)


def test_what_rules_ask_for_is_read_at_once_for_many_and_not_at_all_where_none_asks(
    building: Building, boiler: Appliance, client_of_ours: Any, manager: User
) -> None:
    plain = house_set(manager, extra_intervals=[])
    asking = [shipped(key) for key in ("de-kueo-co", "de-44bimschv-small", "us-ca-scaqmd-1146")]

    def place(name: str) -> Building:
        there = make_building(client_of_ours, name)
        flue = FlueGroup.objects.create(building=there, name="Flue")
        for number in (1, 2):
            make_appliance(there, boiler.sheet, f"Boiler {number}", flue_group=flue)
        for each in (plain, *asking):
            under(each, manager, building=there)
        return there

    def counts() -> tuple[int, int]:
        known = with_facts(RequiredCheck.objects.filter(assignment__limit_set=plain))
        return queries(known), queries(with_facts(RequiredCheck.objects.exclude(assignment__limit_set=plain)))

    place("A")
    none_asks, all_ask = counts()
    for name in "BCD":
        place(name)
    assert counts() == (none_asks, all_ask)
    assert all_ask > none_asks
    (first, *_rest) = with_facts(RequiredCheck.objects.filter(assignment__limit_set=plain))
    for asked in ("fleet_judgement", "fleet_gasconversion"):
        with CaptureQueriesContext(connection) as caught:
            calculate([(first, TODAY)])
        assert not any(asked in each["sql"] for each in caught)
