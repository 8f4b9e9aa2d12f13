"""People's log-ins: how somebody is let in, changed, ended, let back and reset, and what nobody may do."""

from datetime import timedelta
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import TOTP
from django.test import Client as Browser

from fleet.errors import FleetError, Forbidden
from fleet.models import ApiToken, Appliance, AuditEntry, CalendarLink, Client, Job, LogIn, Person, Role, User, Webhook
from fleet.presentation.addresses import FORGOTTEN_OPENS, password_links
from fleet.presentation.audit import entry_words
from fleet.presentation.codes import deed_words
from fleet.queries.calendars import address_for
from fleet.queries.people import deeds_of
from fleet.services.access import create_token, create_user, set_password
from fleet.services.calendars import make_address, renew_address, revoke_address
from fleet.services.people import change_account, end_access, invite_person, let_back, reset_log_in
from tests.cast import NOON, make_user
from tests.intake.refused import said_of

PASSWORD = "a-long-enough-secret"
ASKED: dict[str, Any] = {"username": "cy", "role": "technician", "email": "cy@heating.example", "clients": None}


@pytest.fixture(autouse=True)
def quick(settings: Any) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def boss(installation: User) -> User:
    """A manager who can come in."""
    return create_user(username="boss", password=PASSWORD, role=Role.MANAGER, name="Bo Boss")


@pytest.fixture
def cy(installation: User) -> Person:
    return Person.objects.create(name="Cy Cooper", email="old@heating.example")


@pytest.fixture
def limited(boss: User, client_of_ours: Client) -> User:
    """A manager of one client."""
    user = create_user(username="some", password=PASSWORD, role=Role.MANAGER, name="Sam Some", sees_all_clients=False)
    user.clients.add(client_of_ours)
    return user


def invited(person: Person, actor: User | None, **changes: Any) -> User:
    done = invite_person(person=person, version=person.version, values=ASKED | changes, actor=actor, now=NOON)
    assert done.user is not None
    return done.user


def refused(act: Any, **said: Any) -> FleetError:
    with pytest.raises(FleetError) as refusal:
        act(now=NOON, **said)
    return refusal.value


def opens(user: User, token: str) -> bool:
    return password_links.check_token(User.objects.get(id=user.id), token)


# ---- invited ----


def test_who_is_invited_comes_in_by_the_link_alone_and_by_it_once(cy: Person, boss: User) -> None:
    user = invited(cy, boss)
    assert (user.role, user.sees_all_clients, user.email, str(user)) == (
        "technician",
        True,
        ASKED["email"],
        "Cy Cooper",
    )
    assert (cy.user, cy.role, cy.email, cy.version) == (user, "technician", ASKED["email"], 2)
    assert (user.link_made_at, user.link_made_by, user.has_usable_password()) == (NOON, boss, False)
    link = password_links.make_token(user)
    assert opens(user, link)
    set_password(user=user, password=PASSWORD, now=NOON)
    assert not opens(user, link)


def test_an_invitation_opens_for_seven_days_and_a_forgotten_password_s_link_for_three(
    cy: Person, boss: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    user, now = invited(cy, boss), password_links._now()
    for who, days in ((user, 7), (boss, FORGOTTEN_OPENS.days)):
        link = password_links.make_token(who)
        for after, is_open in ((timedelta(days=days), True), (timedelta(days=days, minutes=1), False)):
            monkeypatch.setattr(password_links, "_now", lambda after=after: now + after)
            assert opens(who, link) is is_open, (who, after)
        monkeypatch.setattr(password_links, "_now", lambda: now)


def test_the_link_goes_by_mail_where_there_is_mail_and_an_address(cy: Person, boss: User, settings: Any) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    user = invited(cy, boss)
    assert not Job.objects.filter(kind="send_password_link").exists()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    reset_log_in(person=cy, version=cy.version, second_factor=False, why="", actor=boss, now=NOON)
    assert Job.objects.get(kind="send_password_link").key == str(user.id)


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"username": "boss"}, "username"), ({"username": "two words"}, "username"), ({"role": "king"}, "role"),
     ({"email": "no address"}, "email"), ({"clients": []}, "clients")],
)  # fmt: skip
def test_an_invitation_that_can_not_be_makes_no_log_in(
    cy: Person, boss: User, changes: dict[str, Any], field: str
) -> None:
    no = refused(invite_person, person=cy, version=1, values=ASKED | changes, actor=boss)
    assert (no.code, list(said_of(no))) == ("invalid", [field])
    assert Person.objects.get(id=cy.id).user is None


def test_nobody_has_two_log_ins(cy: Person, boss: User) -> None:
    invited(cy, boss)
    assert (
        refused(invite_person, person=cy, version=2, values=ASKED | {"username": "d"}, actor=boss).code == "has_log_in"
    )


def test_who_sees_some_clients_lets_nobody_see_more(cy: Person, limited: User, client_of_ours: Client) -> None:
    other = Client.objects.create(name="Mill Trust")
    asked = {"person": cy, "version": 1, "actor": limited}
    everything = refused(invite_person, values=ASKED, **asked)
    assert said_of(everything)["clients"].startswith("you see some clients only")
    for clients in ([other], [client_of_ours, other]):
        assert refused(invite_person, values=ASKED | {"clients": clients}, **asked).code == "not_found"
    user = invited(cy, limited, clients=[client_of_ours])
    assert (user.sees_all_clients, [*user.clients.all()]) == (False, [client_of_ours])
    assert refused(change_account, person=cy, version=2, changes={"clients": None}, actor=limited).code == "invalid"


# ---- changed ----


def test_a_change_is_of_the_person_and_the_log_in_at_once(cy: Person, boss: User, client_of_ours: Client) -> None:
    user = invited(cy, boss)
    changes = {"name": "Cy Weir", "phone": "0000", "email": "weir@heating.example", "role": "auditor"}
    change_account(person=cy, version=2, changes=changes | {"clients": [client_of_ours]}, actor=boss, now=NOON)
    cy, user = Person.objects.get(id=cy.id), User.objects.get(id=user.id)
    assert (cy.name, cy.phone, cy.email, cy.role, cy.version) == (*changes.values(), 3)
    assert (str(user), user.email, user.role, user.sees_all_clients) == (
        "Cy Weir", "weir@heating.example", "auditor", False,
    )  # fmt: skip
    assert [*user.clients.all()] == [client_of_ours]


def test_a_change_of_what_was_changed_meanwhile_changes_nothing(cy: Person, boss: User) -> None:
    user = invited(cy, boss)
    for act, said in (
        (change_account, {"changes": {"role": "manager"}}),
        (end_access, {}),
        (reset_log_in, {"second_factor": True, "why": "lost"}),
    ):
        assert (
            refused(act, person=Person.objects.get(id=cy.id), version=1, actor=boss, **said).code == "changed_meanwhile"
        )
    user = User.objects.get(id=user.id)
    assert (user.role, user.is_active) == ("technician", True)


@pytest.mark.parametrize(
    ("changes", "standing"),
    [({"clients": "theirs"}, ["Mill Trust", "Boss"]), ({"role": "technician"}, ["Boss"]),
     ({"role": "manager"}, ["Mill Trust", "Tess Tech", "Weir Trust", "Boss"]),
     ({"clients": None}, ["Cy Cooper", "Mill Trust", "Tess Tech", "Weir Trust", "Boss"]),
     ({"phone": "1"}, ["Cy Cooper", "Mill Trust", "Tess Tech", "Weir Trust", "Boss"])],
)  # fmt: skip
def test_no_calendar_outlives_what_who_made_it_may_see(
    cy: Person, boss: User, client_of_ours: Client, changes: dict[str, Any], standing: list[str]
) -> None:
    """Their own ends wherever they may less; one of a client, or of somebody, where they could make it no more."""
    theirs = Client.objects.create(name="Mill Trust")
    user = invited(cy, boss, role="dispatcher", clients=[client_of_ours, theirs])
    tess = User.objects.create(username="tess", last_name="Tess Tech", role=Role.TECHNICIAN)
    tess.clients.add(client_of_ours)
    for whose in ({"user": user}, {"client": theirs}, {"user": tess}, {"client": client_of_ours}):
        make_address(**({"user": None, "client": None} | whose), actor=user, now=NOON)  # type: ignore[arg-type]
    make_address(user=boss, client=None, actor=boss, now=NOON)
    if "clients" in changes:
        changes = {"clients": [theirs] if changes["clients"] else None}
    change_account(person=cy, version=2, changes=changes, actor=boss, now=NOON)
    links = CalendarLink.objects.filter(revoked_at__isnull=True).order_by("id")
    assert sorted(str(each.user or each.client) for each in links) == sorted(
        "Bo Boss" if each == "Boss" else each for each in standing
    )


def test_whoever_renews_a_calendar_link_takes_its_secret_along(cy: Person, boss: User, client_of_ours: Client) -> None:
    user = invited(cy, boss, role="dispatcher")
    address, _secret = make_address(user=None, client=client_of_ours, actor=boss, now=NOON)
    renew_address(address=address, version=1, actor=user, now=NOON)
    change_account(person=cy, version=2, changes={"role": "technician"}, actor=boss, now=NOON)
    address.refresh_from_db()
    assert address.revoked_by == boss


def test_the_trail_tells_what_was_and_what_is_and_of_how_to_reach_somebody_only_that_it_changed(
    cy: Person, boss: User, client_of_ours: Client
) -> None:
    mill = Client.objects.create(name="Mill Trust")
    invited(cy, boss, clients=[client_of_ours])
    change_account(person=cy, version=2, changes={"phone": "0000", "name": "Cy Weir"}, actor=boss, now=NOON)
    change_account(
        person=cy, version=3, changes={"clients": [mill, client_of_ours], "role": "auditor"}, actor=boss, now=NOON
    )
    change_account(person=cy, version=4, changes={"clients": None, "email": "a@b.example"}, actor=boss, now=NOON)
    change_account(person=cy, version=5, changes={"clients": None}, actor=boss, now=NOON)
    nothing = "ended with it: log-ins 0, tokens 0, calendar links 0, webhooks 0"
    assert trail() == [
        "invited, as technician, for Weir Trust",
        "changed: name and phone",
        "role changed from technician to auditor",
        "clients changed; before: Weir Trust; now: Mill Trust and Weir Trust",
        nothing,
        "e-mail address changed",
        "clients changed; before: Mill Trust and Weir Trust; now: all clients",
        nothing,
    ]


def test_an_entry_of_when_less_was_told_is_still_read() -> None:
    for code, figures, words in (
        ("access_ended", {}, "access ended"),
        ("invited", {"role": "manager"}, "invited, as manager"),
        ("token_made", {"name": "phone"}, "token made: phone"),
        ("token_ended", {"name": "phone"}, "token ended: phone"),
        ("let_back", {}, "let back in by a link"),
    ):
        assert entry_words(AuditEntry(kind="access_changed", said=[code, figures])) == words


# ---- ended, let back, reset ----


def test_whose_access_ends_is_out_of_all_doors_at_once(cy: Person, boss: User, client_of_ours: Client) -> None:
    user = invited(cy, boss, role="dispatcher")
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    link = password_links.make_token(User.objects.get(id=user.id))
    _token, key = create_token(user=user, actor=user, name="export", scope="read", days=1, now=NOON)
    own, _secret = make_address(user=user, client=None, actor=user, now=NOON)
    made, _secret = make_address(user=None, client=client_of_ours, actor=user, now=NOON)

    def doors() -> list[Any]:
        bearer = {"HTTP_AUTHORIZATION": f"Bearer {key}"}
        calendars = [address_for(each.secret_sha256) is not None for each in (own, made)]
        api = Browser().get("/api/v1/clients", **bearer).status_code
        return [browser.get("/account/").status_code, api, *calendars, opens(user, link)]

    assert doors() == [200, 200, True, True, True]
    end_access(person=cy, version=2, actor=boss, now=NOON)
    assert doors() == [302, 401, False, False, False]
    assert trail()[-1] == "access ended, and with it: log-ins 1, tokens 1, calendar links 2, webhooks 0"
    assert any(
        each.startswith("token made: export; it may read, of all clients of its owner, until") for each in trail()
    )
    assert "calendar link made, of Weir Trust" in trail()
    assert not LogIn.objects.filter(user=user).exists() and not ApiToken.objects.filter(user=user).exists()
    assert {each.revoked_by for each in CalendarLink.objects.all()} == {boss}
    assert Person.objects.get(id=cy.id).user == user
    assert refused(end_access, person=cy, version=3, actor=boss).code == "already_ended"
    assert refused(reset_log_in, person=cy, version=3, second_factor=False, why="", actor=boss).code == "already_ended"


def test_what_a_leaver_did_last_stays_told(cy: Person, boss: User, client_of_ours: Client) -> None:
    user = invited(cy, boss, role="dispatcher")
    Browser().force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    create_token(user=user, actor=user, name="phone", scope="read", days=1, now=NOON)
    link, _secret = make_address(user=None, client=client_of_ours, actor=user, now=NOON)
    revoke_address(address=link, version=1, actor=user, now=NOON)
    before = deeds_of(boss, cy)
    assert {(each.what, each.name) for each in before} == {
        ("logged_in", ""), ("token_made", "phone"), ("calendar_made", "Weir Trust"), ("calendar_revoked", "Weir Trust"),
    }  # fmt: skip
    end_access(person=cy, version=2, actor=boss, now=NOON)
    assert deeds_of(boss, cy) == before
    assert {each.what for each in deeds_of(boss, boss.person)} == {"access_changed"}
    assert all(deed_words(each.what, each.name) for each in before)


def hooks_by(user: User, *clients: Client | None) -> list[Webhook]:
    said = {"kinds": ["flag_opened"], "is_on": True, "made_by": user, "made_at": NOON}
    return [
        Webhook.objects.create(name=f"hook {each}", url="https://a.test/x", client=each, **said) for each in clients
    ]


def on(hooks: list[Webhook]) -> list[bool]:
    return [Webhook.objects.get(id=each.id).is_on for each in hooks]


def trail() -> list[str]:
    return [entry_words(each) for each in AuditEntry.objects.order_by("id")]


def test_webhooks_of_who_leaves_stop_with_their_access(cy: Person, boss: User, client_of_ours: Client) -> None:
    user = invited(cy, boss, role="manager")
    hooks = [*hooks_by(user, None, client_of_ours), *hooks_by(boss, None)]
    end_access(person=cy, version=2, actor=boss, now=NOON)
    assert on(hooks) == [False, False, True]
    assert trail()[-2:] == [
        "webhooks stopped: hook None and hook Weir Trust",
        "access ended, and with it: log-ins 0, tokens 0, calendar links 0, webhooks 2",
    ]


def test_who_ends_an_access_may_keep_the_webhooks_that_they_may_see(
    cy: Person, boss: User, limited: User, client_of_ours: Client
) -> None:
    user = invited(cy, boss, role="manager", clients=[client_of_ours])
    hooks = hooks_by(user, None, client_of_ours)
    end_access(person=cy, version=2, keep_webhooks=True, actor=limited, now=NOON)
    assert on(hooks) == [False, True]
    kept = Webhook.objects.get(id=hooks[1].id)
    assert (kept.owner, kept.made_by, kept.version) == (limited, user, 2)
    assert "webhooks go on, kept by who did this: hook Weir Trust" in trail()


@pytest.mark.parametrize(
    ("changes", "goes_on"),
    [({"role": "dispatcher"}, [False, False]), ({"clients": "named"}, [False, True]), ({"phone": "1"}, [True, True])],
)
def test_a_webhook_tells_only_of_clients_that_its_owner_may_still_see(
    cy: Person, boss: User, client_of_ours: Client, changes: dict[str, Any], goes_on: list[bool]
) -> None:
    hooks = hooks_by(invited(cy, boss, role="manager"), None, client_of_ours)
    if "clients" in changes:
        changes = {"clients": [client_of_ours]}
    change_account(person=cy, version=2, changes=changes, actor=boss, now=NOON)
    assert on(hooks) == goes_on


def test_who_comes_back_comes_by_a_link_and_not_by_the_password_of_then(cy: Person, boss: User) -> None:
    user = invited(cy, boss)
    set_password(user=user, password=PASSWORD, now=NOON)
    assert refused(let_back, person=cy, version=2, actor=boss).code == "not_ended"
    end_access(person=cy, version=2, actor=boss, now=NOON)
    let_back(person=cy, version=3, actor=boss, now=NOON)
    user = User.objects.get(id=user.id)
    assert (user.is_active, user.check_password(PASSWORD)) == (True, False)
    assert opens(user, password_links.make_token(user))


def test_a_reset_ends_what_stood_and_the_second_factor_needs_a_reason(cy: Person, boss: User) -> None:
    user = invited(cy, boss)
    set_password(user=user, password=PASSWORD, now=NOON)
    TOTP.activate(user, "JBSWY3DPEHPK3PXP")
    Browser().force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    earlier = password_links.make_token(User.objects.get(id=user.id))
    no = refused(reset_log_in, person=cy, version=2, second_factor=True, why="", actor=boss)
    assert said_of(no) == {"why": "is empty; say why"}
    reset_log_in(person=cy, version=2, second_factor=False, why="", actor=boss, now=NOON)
    assert not opens(user, earlier) and not LogIn.objects.filter(user=user).exists()
    assert not User.objects.get(id=user.id).check_password(PASSWORD)
    assert Authenticator.objects.filter(user=user).exists()
    reset_log_in(person=cy, version=3, second_factor=True, why="phone lost", actor=boss, now=NOON)
    assert not Authenticator.objects.filter(user=user).exists()
    assert User.objects.get(id=user.id).link_why == "phone lost"


def test_a_reset_ends_the_calendar_links_too(cy: Person, boss: User) -> None:
    user = invited(cy, boss, role="dispatcher")
    link, _secret = make_address(user=user, client=None, actor=user, now=NOON)
    assert address_for(link.secret_sha256)
    reset_log_in(person=cy, version=2, second_factor=False, why="", actor=boss, now=NOON)
    assert address_for(link.secret_sha256) is None


def test_nobody_resets_their_own_log_in_but_the_machine_does(boss: User) -> None:
    said = {"person": boss.person, "version": 1, "second_factor": True, "why": "lost"}
    assert refused(reset_log_in, actor=boss, **said).code == "own_log_in"
    reset_log_in(actor=None, now=NOON, **said)
    assert not User.objects.get(id=boss.id).has_usable_password()


# ---- the last manager ----


@pytest.mark.parametrize("changes", [{"role": "technician"}, {"clients": "named"}, None])
def test_the_last_manager_of_all_clients_stays_one(
    boss: User, limited: User, cy: Person, client_of_ours: Client, changes: dict[str, Any] | None
) -> None:
    """Whoever sees some clients, was invited only or has left is no other one."""
    other = invited(cy, boss, role="manager")
    if changes == {"clients": "named"}:
        changes = {"clients": [client_of_ours]}
    said = {"person": boss.person, "version": 1, "actor": boss}

    def act(**more: Any) -> Person:
        return change_account(**said, changes=changes, **more) if changes else end_access(**said, **more)

    assert refused(act).code == "last_manager"
    assert refused(end_access, person=boss.person, version=1, actor=None).code == "last_manager"
    set_password(user=other, password=PASSWORD, now=NOON)
    act(now=NOON)


def test_what_somebody_might_let_in_ends_with_what_they_may(boss: User, cy: Person) -> None:
    """A link that a leaver made, and one unused by whose role changes, opens nothing any more."""
    mate = Person.objects.create(name="Mo Mate")
    of_mate = invited(mate, boss, username="mate", role="manager")
    of_mate.set_password(PASSWORD)
    of_mate.save()
    ghost = invited(cy, of_mate, username="ghost", role="manager")
    mate.refresh_from_db()
    end_access(person=mate, version=mate.version, actor=boss, now=NOON)
    kept = User.objects.get(id=ghost.id).password
    assert kept != ghost.password
    cy.refresh_from_db()
    change_account(person=cy, version=cy.version, changes={"role": "dispatcher"}, actor=boss, now=NOON)
    assert User.objects.get(id=ghost.id).password != kept


@pytest.mark.parametrize("how", ["role", "reset"])
def test_tokens_end_where_somebody_may_other_things_or_is_reset(boss: User, cy: Person, how: str) -> None:
    user = invited(cy, boss)
    create_token(user=user, actor=user, name="phone", scope="write", days=1, now=NOON)
    cy.refresh_from_db()
    about: dict[str, Any] = {"person": cy, "version": cy.version, "actor": boss, "now": NOON}
    if how == "role":
        change_account(**about, changes={"role": "manager"})
    else:
        reset_log_in(**about, second_factor=False, why="")
    assert not ApiToken.objects.exists()


def test_who_was_ended_by_somebody_of_all_clients_is_let_back_only_by_one_of_them(
    technician: User, person: Person, manager: User, boiler: Appliance
) -> None:
    limited = make_user("of one client", "manager", sees_all_clients=False)
    limited.clients.add(boiler.building.client)
    ended = end_access(person=person, version=person.version, actor=manager, now=NOON)
    with pytest.raises(Forbidden):
        let_back(person=ended, version=ended.version, actor=limited, now=NOON)
    let_back(person=ended, version=ended.version, actor=manager, now=NOON)
    ended.refresh_from_db()
    again = end_access(person=ended, version=ended.version, actor=limited, now=NOON)
    let_back(person=again, version=again.version, actor=limited, now=NOON)
