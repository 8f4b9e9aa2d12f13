"""Accounts, tokens, and the contractor's row: what may begin, and what is refused with nothing left behind."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth import authenticate

from fleet import clock
from fleet.assess import planning_settings
from fleet.errors import FleetError, NotFound
from fleet.models import ApiToken, AuditEntry, Client, Contractor, Job, LimitSet, LogIn, Person, Record, User
from fleet.services import access
from fleet.services.access import (
    create_token,
    create_user,
    end_log_in,
    end_other_log_ins,
    prune_log_ins,
    revoke_token,
    set_password,
)
from fleet.services.contractor import begin_installation, change_contractor
from tests.cast import NOON
from tests.intake.refused import said_of
from tests.models.rows import made

GOOD = {"username": "cy", "password": "a-long-enough-secret", "role": "technician", "name": "Cy Cooper"}


@pytest.fixture(autouse=True)
def quick(settings: Any) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


def refusal(**changes: Any) -> FleetError:
    with pytest.raises(FleetError) as refused:
        create_user(**GOOD | changes)
    return refused.value


# ---- accounts ----


def test_an_account_comes_with_its_person_and_opens_with_its_password_alone(installation: User) -> None:
    user = create_user(**GOOD)
    person = Person.objects.get(user=user)
    assert (person.name, person.role, user.sees_all_clients) == ("Cy Cooper", "technician", True)
    assert authenticate(username="cy", password="a-long-enough-secret") == user
    assert authenticate(username="cy", password="a-long-enough-secreT") is None
    assert "a-long-enough-secret" not in user.password


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"password": "elevenchars"}, "password"),
        ({"password": "password1234"}, "password"),
        ({"username": "runaaverell", "password": "runaaverell1"}, "password"),
        ({"username": "manager"}, "username"),
        ({"username": ""}, "username"),
        ({"username": "two words"}, "username"),
        ({"role": "king"}, "role"),
        ({"name": ""}, "name"),
        ({"name": "x" * 151}, "last_name"),
    ],
)
def test_an_account_that_can_not_be_leaves_neither_account_nor_person(
    manager: User, changes: dict[str, str], field: str
) -> None:
    before = (User.objects.count(), Person.objects.count())
    refused = refusal(**changes)
    assert (refused.code, field in said_of(refused)) == ("invalid", True), refused
    assert (User.objects.count(), Person.objects.count()) == before


# ---- tokens ----


@pytest.mark.parametrize("days", [1, 365])
def test_a_token_lasts_as_long_as_was_asked_for(manager: User, days: int) -> None:
    token, secret = create_token(user=manager, actor=manager, now=clock.now(), name="export", scope="read", days=days)
    lasts = token.expiry - datetime.now(UTC)
    assert timedelta(days=days) - timedelta(minutes=5) < lasts <= timedelta(days=days)
    assert secret.startswith(token.token_key) and secret != token.token_key
    assert secret not in str(ApiToken.objects.values().get())


@pytest.mark.parametrize("days", [0, -1, 366])
def test_a_token_for_too_long_or_for_no_time_is_refused(manager: User, days: int) -> None:
    with pytest.raises(FleetError) as refused:
        create_token(user=manager, actor=manager, now=clock.now(), name="export", scope="read", days=days)
    assert said_of(refused.value) == {"days": f"is {days}; it must be a whole number from 1 to 365"}
    assert not ApiToken.objects.exists()


def test_one_account_has_so_many_tokens_and_another_its_own(
    manager: User, dispatcher: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(access, "MOST_TOKENS", 2)
    first, _secret = create_token(user=manager, actor=manager, now=clock.now(), name="1", scope="read", days=1)
    create_token(user=manager, actor=manager, now=clock.now(), name="2", scope="read", days=1)
    with pytest.raises(FleetError) as refused:
        create_token(user=manager, actor=manager, now=clock.now(), name="3", scope="read", days=1)
    assert refused.value.code == "too_many_tokens"
    create_token(user=dispatcher, actor=dispatcher, now=clock.now(), name="3", scope="read", days=1)
    revoke_token(actor=manager, now=clock.now(), key=first.token_key)
    create_token(user=manager, actor=manager, now=clock.now(), name="3", scope="read", days=1)


def test_nobody_revokes_anothers_token(manager: User, dispatcher: User) -> None:
    token, _secret = create_token(user=manager, actor=manager, now=clock.now(), name="export", scope="read", days=1)
    with pytest.raises(NotFound):
        revoke_token(actor=dispatcher, now=clock.now(), key=token.token_key)
    revoke_token(actor=manager, now=clock.now(), key=token.token_key)
    with pytest.raises(NotFound):
        revoke_token(actor=manager, now=clock.now(), key=token.token_key)


def test_a_token_is_limited_to_clients_that_its_owner_sees(auditor: User, client_of_ours: Client) -> None:
    elsewhere = Client.objects.create(name="Lock Trust")
    with pytest.raises(NotFound):
        create_token(
            user=auditor,
            actor=auditor,
            now=clock.now(),
            name="export",
            scope="read",
            days=1,
            clients=[client_of_ours, elsewhere],
        )
    assert not ApiToken.objects.exists()
    token, _secret = create_token(
        user=auditor, actor=auditor, now=clock.now(), name="export", scope="read", days=1, clients=[client_of_ours]
    )
    assert token.is_limited and list(token.clients.all()) == [client_of_ours]


# ---- log-ins and passwords ----


def test_only_ones_own_log_in_is_ended_and_only_once(manager: User, dispatcher: User) -> None:
    mine, theirs, expires = made(LogIn, user=manager), made(LogIn, user=dispatcher), clock.now() + timedelta(hours=1)
    LogIn.objects.update(expires_at=expires)
    with pytest.raises(NotFound):
        end_log_in(actor=manager, key=theirs.key, now=clock.now())
    end_log_in(actor=manager, key=mine.key, now=clock.now())
    with pytest.raises(NotFound):
        end_log_in(actor=manager, key=mine.key, now=clock.now())
    assert list(LogIn.objects.all()) == [theirs]
    assert [each.said[0] for each in AuditEntry.objects.all()] == ["log_in_ended"]


def test_all_others_end_and_this_one_stays(manager: User, dispatcher: User) -> None:
    this, _other, theirs = made(LogIn, user=manager), made(LogIn, user=manager), made(LogIn, user=dispatcher)
    assert end_other_log_ins(actor=manager, but=this.key, now=clock.now()) == 1
    assert set(LogIn.objects.all()) == {this, theirs}
    assert [each.said[0] for each in AuditEntry.objects.all()] == ["other_log_ins_ended"]


def test_a_weak_new_password_changes_nothing_and_ends_nothing(manager: User) -> None:
    row, before = made(LogIn, user=manager), User.objects.get(id=manager.id).password
    with pytest.raises(FleetError):
        set_password(user=manager, password="elevenchars", now=clock.now())
    assert User.objects.get(id=manager.id).password == before and list(LogIn.objects.all()) == [row]


def test_what_has_ended_by_itself_is_removed(manager: User) -> None:
    over, stands = made(LogIn, expires_at=NOON), made(LogIn, expires_at=NOON + timedelta(seconds=1))
    prune_log_ins(now=NOON + timedelta(seconds=1))
    assert over not in LogIn.objects.all() and list(LogIn.objects.all()) == [stands]


# ---- the contractor ----


def test_an_installation_begins_once(installation: User) -> None:
    before = (Record.objects.count(), LimitSet.objects.count())
    with pytest.raises(FleetError) as refused:
        begin_installation(name="Another", address="", emergency_numbers=["000"], is_demo=False, now=NOON)
    assert refused.value.code == "already_begun"
    assert Contractor.objects.get().name == "Test Heating"
    assert (Record.objects.count(), LimitSet.objects.count()) == before


def test_whoever_set_it_up_can_not_log_in(installation: User) -> None:
    assert not installation.is_active and not installation.has_usable_password()


def shown(changes: dict[str, Any], version: int = 1) -> str:
    return planning_settings.digest_of(version, planning_settings.tuned(Contractor.objects.get(), changes))


def test_what_has_consequences_is_taken_only_as_it_was_shown(installation: User) -> None:
    changes = {"flag_at": 0.25, "extra_visits_a_week": 4}
    for wrong in ("", shown({"flag_at": 0.25}), shown(changes | {"flag_at": 0.26}), shown(changes, version=2)):
        with pytest.raises(FleetError) as refused:
            change_contractor(version=1, changes=dict(changes), shown=wrong, now=NOON)
        assert refused.value.code == "not_shown"
        assert set(said_of(refused.value)) == set(changes)
    assert Contractor.objects.get().version == 1 and not Job.objects.filter(kind="refresh_everybody").exists()
    changed = change_contractor(version=1, changes=changes, shown=shown(changes), now=NOON)
    assert (changed.flag_at, changed.extra_visits_a_week, changed.version) == (0.25, 4, 2)
    assert Job.objects.filter(kind="refresh_everybody", key="planning settings 2").count() == 1


def test_a_name_has_no_consequences_and_needs_no_showing(installation: User) -> None:
    kept = Contractor.objects.get().flag_at
    changed = change_contractor(version=1, changes={"name": "Weir Heating", "flag_at": kept}, shown="", now=NOON)
    assert changed.name == "Weir Heating"
    assert not Job.objects.filter(kind="refresh_everybody").exists()


def test_the_digest_is_of_the_choices_and_not_of_their_order_or_of_anything_else() -> None:
    digest = planning_settings.digest_of
    one = digest(3, {"flag_at": 0.25, "repair_within_days": {"urgent": 14, "repair": 28}})
    assert one == digest(3, {"repair_within_days": {"repair": 28, "urgent": 14}, "flag_at": 0.25, "name": "x"})
    assert one != digest(4, {"flag_at": 0.25, "repair_within_days": {"urgent": 14, "repair": 28}})
    assert one != digest(3, {"flag_at": 0.25, "repair_within_days": {"urgent": 14, "repair": 27}})
    assert digest(1, {"flag_at": 1}) == digest(1, {"flag_at": 1.0})
