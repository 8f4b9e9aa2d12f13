"""Out of use: required checks suspended, due after the restart, and the record behind it."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.assess.projections import check
from fleet.errors import Conflict, FleetError
from fleet.models import Appliance, Job, LimitSet, OutOfUse, Record, RequiredCheck, User
from fleet.models.register import new_id
from fleet.presentation.due_dates import date_words, doubt_words
from fleet.queries.required_checks import dated_required_checks, suspended_required_checks, undecided_required_checks
from fleet.queries.statements import statement_for
from fleet.services.limit_sets import assign_limit_set
from fleet.services.out_of_use import begin_out_of_use, end_out_of_use
from fleet.services.projections import rebuild
from tests.cast import NOON, calculated, store
from tests.intake.refused import said_of

TODAY = NOON.date()


def begin(appliance: Appliance, actor: User, day: str, **more: str) -> OutOfUse:
    content = {"begins": day, "why": "the hall is closed", "said_by": "the caretaker"} | more
    return begin_out_of_use(appliance=appliance, content=content, actor=actor, now=NOON, id=new_id())


def end(period: OutOfUse, actor: User, day: str) -> OutOfUse:
    return end_out_of_use(out_of_use=period, content={"ends": day, "restart_said_by": "us"}, actor=actor, now=NOON)


def attach(key: str, actor: User, appliance: Appliance) -> RequiredCheck:
    place = {"limit_set": LimitSet.objects.get(key=key), "appliance": appliance, "since": date(2025, 2, 1), "why": "x"}
    return RequiredCheck.objects.get(assignment=assign_limit_set(values=place, actor=actor, now=NOON))


def again(required_check: RequiredCheck, day: date = TODAY) -> RequiredCheck:
    return calculated(required_check, day)


def test_while_it_is_out_of_use_nothing_is_due_late_or_undecided(boiler: Appliance, manager: User) -> None:
    required_check = attach("demo-neutral", manager, boiler)
    assert required_check.due == date(2026, 2, 1)  # a month late today
    begin(boiler, manager, "2026-01-20")
    required_check = again(required_check)
    assert (required_check.due, doubt_words(required_check.cannot_tell), required_check.suspended_since) == (
        None,
        "",
        date(2026, 1, 20),
    )
    assert date_words(required_check.steps).startswith(
        "Out of use since 20 January 2026: nothing is due until its restart."
    )
    assert list(suspended_required_checks(manager, TODAY)) == [required_check]
    assert not dated_required_checks(manager, TODAY).exists()
    assert not undecided_required_checks(manager, TODAY).exists()


def test_what_fell_due_meanwhile_is_due_on_the_restart(boiler: Appliance, manager: User) -> None:
    required_check = attach("demo-neutral", manager, boiler)
    end(begin(boiler, manager, "2026-01-20"), manager, "2026-02-27")
    required_check = again(required_check)
    assert (required_check.due, required_check.suspended_since) == (date(2026, 2, 27), None)
    assert "out of use from 20 January 2026, so it is due on its restart, 27 February 2026" in date_words(
        required_check.steps
    )


def test_a_set_that_grants_days_after_the_restart_is_held_to_it(boiler: Appliance, manager: User) -> None:
    """40 CFR 63.11223(b)(7): not operating on the due date, within 30 days of the restart."""
    required_check = attach("us-epa-6j-biennial", manager, boiler)
    RequiredCheck.objects.filter(id=required_check.id).update(since=date(2024, 1, 1))
    assert again(RequiredCheck.objects.get()).due == date(2026, 2, 1)
    period = begin(boiler, manager, "2026-01-20")
    assert again(RequiredCheck.objects.get()).suspended_since == date(2026, 1, 20)
    end(period, manager, "2026-02-27")
    assert again(RequiredCheck.objects.get()).due == date(2026, 3, 29)


@pytest.mark.parametrize(("begins", "ends"), [("2025-06-01", "2025-09-01"), ("2026-02-10", "2026-02-20")])
def test_a_standstill_before_or_after_the_due_day_moves_nothing(
    boiler: Appliance, manager: User, begins: str, ends: str
) -> None:
    required_check = attach("demo-neutral", manager, boiler)
    end(begin(boiler, manager, begins), manager, ends)
    assert again(required_check).due == date(2026, 2, 1)


def test_the_restart_day_is_a_day_of_use(boiler: Appliance, manager: User) -> None:
    required_check = attach("demo-neutral", manager, boiler)
    end(begin(boiler, manager, "2026-01-20"), manager, "2026-02-01")
    assert again(required_check).due == date(2026, 2, 1)


def test_as_of_an_earlier_day_it_still_stood_still(boiler: Appliance, manager: User) -> None:
    required_check = attach("demo-neutral", manager, boiler)
    end(begin(boiler, manager, "2026-01-20"), manager, "2026-02-27")
    assert again(required_check, date(2026, 2, 10)).suspended_since == date(2026, 1, 20)
    assert again(required_check, date(2026, 1, 19)).suspended_since is None


def test_both_records_are_kept_and_the_rows_can_be_made_from_them_again(boiler: Appliance, manager: User) -> None:
    period = end(begin(boiler, manager, "2026-01-20", proof="letter of 18 January"), manager, "2026-02-27")
    first, second = Record.objects.filter(kind="out_of_use").order_by("id")
    assert (second.amends_id, period.record_id) == (first.id, second.id)
    assert (period.proof, period.restart_said_by) == ("letter of 18 January", "us")
    assert list(check()) == []
    OutOfUse.objects.all().delete()
    rebuild()
    assert OutOfUse.objects.get() == period


def test_the_appliance_is_looked_at_again(boiler: Appliance, manager: User) -> None:
    period = begin(boiler, manager, "2026-01-20")
    waiting = Job.objects.filter(kind="refresh_appliance", key=str(boiler.id), state="waiting")
    assert waiting.update(state="done") == 1
    end(period, manager, "2026-02-27")
    assert waiting.count() == 1


@pytest.mark.parametrize("day", ["2026-03-03", "2014-12-31"])
def test_a_day_to_come_or_before_it_came_is_refused(boiler: Appliance, manager: User, day: str) -> None:
    with pytest.raises(FleetError) as refused:
        begin(boiler, manager, day)
    assert list(said_of(refused.value)) == ["begins"]
    assert not Record.objects.filter(kind="out_of_use").exists()


def test_it_cannot_stand_still_twice_at_once_nor_overlap(boiler: Appliance, manager: User) -> None:
    period = begin(boiler, manager, "2026-01-20")
    with pytest.raises(Conflict):
        begin(boiler, manager, "2026-02-01")
    end(period, manager, "2026-02-10")
    with pytest.raises(FleetError):
        begin(boiler, manager, "2026-02-09")
    assert begin(boiler, manager, "2026-02-10").ends is None


@pytest.mark.parametrize("day", ["2026-01-19", "2026-03-03"])
def test_a_restart_before_it_stood_still_or_to_come_is_refused(boiler: Appliance, manager: User, day: str) -> None:
    with pytest.raises(FleetError) as refused:
        end(begin(boiler, manager, "2026-01-20"), manager, day)
    assert list(said_of(refused.value)) == ["ends"]


def test_a_restart_is_recorded_once(boiler: Appliance, manager: User) -> None:
    period = begin(boiler, manager, "2026-01-20")
    ended = end(period, manager, "2026-02-10")
    for seen in (ended, period):
        with pytest.raises(Conflict):
            end(seen, manager, "2026-02-11")


def test_entered_by_mistake_it_ends_on_its_day_and_changes_nothing(boiler: Appliance, manager: User) -> None:
    required_check = attach("demo-neutral", manager, boiler)
    end(begin(boiler, manager, "2026-02-01"), manager, "2026-02-01")
    assert again(required_check).due == date(2026, 2, 1)


# ---- in statements ----


def line_of(viewer: User, boiler: Appliance, begins: date, ends: date) -> Any:
    made = statement_for(viewer, building_id=boiler.building_id, begins=begins, ends=ends, today=TODAY)
    return made, made.lines[0]


def test_a_statement_leaves_its_days_out_and_calls_nothing_late(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    attach("demo-neutral", manager, boiler)
    end(begin(boiler, manager, "2026-01-20"), manager, "2026-02-27")
    _made, during = line_of(manager, boiler, date(2026, 2, 1), date(2026, 2, 20))
    assert (during.late_days, during.due) == (0, None)
    assert during.idle == ((date(2026, 2, 1), date(2026, 2, 20)),)
    _made, after = line_of(manager, boiler, date(2026, 1, 1), date(2026, 3, 1))
    assert (after.due, after.late_days) == (date(2026, 2, 27), 2)
    assert after.idle == ((date(2026, 1, 20), date(2026, 2, 26)),)


def test_what_stood_still_throughout_is_not_missing_a_record(boiler: Appliance, manager: User) -> None:
    begin(boiler, manager, "2026-01-20")
    made, line = line_of(manager, boiler, date(2026, 2, 1), date(2026, 2, 20))
    assert (line.idle_throughout, made.without_record) == (True, ())
    made, line = line_of(manager, boiler, date(2026, 1, 19), date(2026, 2, 20))
    assert (line.idle_throughout, made.without_record) == (False, (line,))


def test_a_statement_names_the_visit_that_did_not_count(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User
) -> None:
    attach("uk-gsiur-36", manager, boiler)
    store(body | {"inspection_points": {}}, technician)
    _made, line = line_of(manager, boiler, TODAY - timedelta(days=60), TODAY)
    (said,) = line.not_counted
    assert "Visited on 2 March 2026, doesn't count" in said
