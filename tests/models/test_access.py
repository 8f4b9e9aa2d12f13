"""Who may see and change what: the one table, held against what each role is there for."""

import pytest

from fleet.models import Role, User
from fleet.models.access import ACCESS, Whose, may_change, may_see

SUBJECTS = sorted(ACCESS)
# The whole table a second time, by role, as the trade has it: a technician records in the field, a dispatcher runs the
# office, a manager decides besides by what is judged and how the house runs, an auditor reads and changes nothing.
NOT_FOR_TECHNICIANS = {
    *("unreadable_records", "statements", "forecast_accuracy", "planning_settings", "background_work"),
    *("daily_summary", "on_call", "webhooks", "calendars_of_others", "tokens_of_others", "allowed_hosts"),
    "audit_trail",
    "accounts",
}
NOT_FOR_DISPATCHERS = {
    *(
        "planning_settings",
        "background_work",
        "webhooks",
        "tokens_of_others",
        "allowed_hosts",
        "audit_trail",
        "accounts",
    )
}
NOT_FOR_AUDITORS = {
    *("attention", "alerts"),  # the day's work
    *("unreadable_records", "planning_settings", "background_work", "own_alerts", "daily_summary", "on_call"),
    *("webhooks", "calendars", "calendars_of_others", "contact_details", "tokens_of_others", "allowed_hosts"),
    "audit_trail",
    "accounts",
}
CHANGED_IN_THE_FIELD = {
    *(
        "flags",
        "stop_flags_closed",
        "no_access",
        "visits",
        "files",
        "advice",
        "own_alerts",
        "calendars",
        "tokens",
        "log_ins",
        "logging_in",
    )
}
ONLY_A_MANAGER_CHANGES = {
    *("sheets", "limit_sets", "stop_levels", "contractor", "planning_settings", "background_work", "on_call"),
    *("webhooks", "tokens_of_others", "allowed_hosts", "accounts"),
}
# Worked out or written by the program alone: nobody changes them by hand.
NOBODY_CHANGES = {
    *("attention", "alerts", "retests", "what_if", "records", "statements", "cards", "forecasts", "comparisons"),
    *("forecast_accuracy", "documentation", "audit_trail", "first_line", "glossary", "calendar_feeds"),
}


def by(role: str) -> User:
    return User(username="x", role=role, sees_all_clients=True)


def seen_by(role: str) -> set[str]:
    return {each for each in SUBJECTS if may_see(by(role), each)}


def changed_by(role: str) -> set[str]:
    return {each for each in SUBJECTS if may_change(by(role), each)}


@pytest.mark.parametrize(
    ("role", "hidden"),
    [
        (Role.TECHNICIAN, NOT_FOR_TECHNICIANS),
        (Role.DISPATCHER, NOT_FOR_DISPATCHERS),
        (Role.MANAGER, set()),
        (Role.AUDITOR, NOT_FOR_AUDITORS),
    ],
)
def test_each_role_sees_all_but_what_is_none_of_its_business(role: str, hidden: set[str]) -> None:
    assert set(SUBJECTS) - seen_by(role) == hidden


def test_a_technician_changes_what_is_recorded_in_the_field() -> None:
    assert changed_by(Role.TECHNICIAN) == CHANGED_IN_THE_FIELD


def test_a_manager_changes_all_that_anybody_does() -> None:
    assert set(SUBJECTS) - changed_by(Role.MANAGER) == NOBODY_CHANGES


def test_a_dispatcher_leaves_the_manager_what_is_judged_by_and_the_house() -> None:
    assert changed_by(Role.MANAGER) - changed_by(Role.DISPATCHER) == ONLY_A_MANAGER_CHANGES | {"stop_flags_closed"}


def test_an_auditor_changes_nothing_but_tokens_and_log_ins_of_their_own() -> None:
    assert changed_by(Role.AUDITOR) == {"tokens", "log_ins", "logging_in"}


def test_a_flag_at_stop_level_is_closed_by_who_may_judge_it() -> None:
    """T5: by a qualified person, never from the desk alone."""
    assert {role for role in Role.values if may_change(by(role), "stop_flags_closed")} == {"technician", "manager"}
    assert {role for role in Role.values if may_change(by(role), "other_flags_closed")} == {"dispatcher", "manager"}


@pytest.mark.parametrize("role", Role.values)
def test_who_sees_named_clients_only_never_does_what_is_the_installation_s(role: str) -> None:
    limited, free = User(username="x", role=role), by(role)
    kept_from = {each for each in SUBJECTS if may_change(free, each) and not may_change(limited, each)}
    hidden = {each for each in SUBJECTS if may_see(free, each) and not may_see(limited, each)}
    of_all = {each for each in SUBJECTS if ACCESS[each].whose in (Whose.SHARED, Whose.INSTALLATION)}
    assert kept_from == of_all & changed_by(role)
    assert hidden == {each for each in of_all & seen_by(role) if ACCESS[each].whose is Whose.INSTALLATION}
    assert {"contractor", "limit_sets", "stop_levels", "background_work", "allowed_hosts"} <= of_all


@pytest.mark.parametrize("subject", SUBJECTS)
def test_who_changes_something_sees_it(subject: str) -> None:
    assert ACCESS[subject].change <= ACCESS[subject].see <= set(Role.values)
    assert ACCESS[subject].see


@pytest.mark.parametrize("role", ["", "owner", "Manager"])
def test_a_role_that_is_none_sees_and_changes_nothing(role: str) -> None:
    assert seen_by(role) == changed_by(role) == set()


@pytest.mark.parametrize("role", Role.values)
def test_who_has_left_sees_and_changes_nothing(role: str) -> None:
    gone = User(username="x", role=role, is_active=False, sees_all_clients=True)
    assert not any(may_see(gone, each) or may_change(gone, each) for each in SUBJECTS)
