"""People's log-ins: invited by a link, changed, ended, let back and reset.

Each act is on the person, by the version that was seen. `actor` is None where it is done on the machine itself. The
link that opens a log-in is `addresses.password_link`: made where it is shown, it stands in no table.
"""

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q, QuerySet

from fleet.assess.refusals import check_entry
from fleet.coded import coded
from fleet.errors import Conflict, FleetError, Forbidden, NotFound
from fleet.models import ApiToken, AuditEntry, Client, LogIn, Person, Role, User
from fleet.presentation.alerts import has_mail
from fleet.queries.access import visible_clients
from fleet.services import jobs
from fleet.services.access import change_email, forget_second_factor
from fleet.services.audit import note_change
from fleet.services.calendars import revoke_addresses_of
from fleet.services.register import change_entry, change_row, create_entry
from fleet.services.webhooks import keep_hooks, stop_hooks

OF_LOG_IN = ("name", "email", "role")


@transaction.atomic
def invite_person(
    *, person: Person, version: int, values: dict[str, Any], why: str = "", actor: User | None, now: datetime
) -> Person:
    """A log-in for somebody of the register, that their link opens. values: username, role, email and clients; None is
    all of them.

    Raises FleetError `invalid`, Conflict `has_log_in` or `changed_meanwhile`, NotFound for a client of others.
    """
    if person.user_id:
        raise Conflict("has_log_in", "This person has a log-in already.")
    clients = values["clients"]
    _refuse_beyond(actor, clients)
    user = User(username=values["username"], role=values["role"], email=values["email"], last_name=person.name)
    user.sees_all_clients = clients is None
    user.set_unusable_password()
    check_entry(user)
    user.save(force_insert=True)
    user.clients.set(clients or ())
    changes = {"user": user, "role": user.role, "email": user.email or person.email}
    return _with_link(person, version, user, what="invited", changes=changes, why=why, actor=actor, now=now)


@transaction.atomic
def invite_newcomer(*, person: dict[str, Any], values: dict[str, Any], actor: User | None, now: datetime) -> Person:
    """Somebody new with a log-in. person: name and phone; values and what it raises as `invite_person`."""
    entry = create_entry(model=Person, values=person | {"role": values["role"], "email": values["email"]})
    return invite_person(person=entry, version=entry.version, values=values, actor=actor, now=now)


@transaction.atomic
def change_person(
    *, person: Person, version: int, changes: dict[str, Any], actor: User | None, now: datetime
) -> Person:
    """An entry of the register. Raises as `change_entry`, FleetError `invalid` for what is of a log-in: who somebody
    is, and where their links go, is changed with it."""
    of_log_in = [name for name in OF_LOG_IN if name in changes and changes[name] != getattr(person, name)]
    if person.user and of_log_in:
        errors = dict.fromkeys(of_log_in, coded("with_the_log_in"))
        raise FleetError("invalid", "Some fields can't be changed.", errors=errors)
    fields = [name for name in ("name", "phone") if name in changes and changes[name] != getattr(person, name)]
    if person.user and fields:
        note_change(user=person.user, actor=actor, now=now, code="details_changed", fields=fields)
    return change_entry(entry=person, version=version, changes=changes)


@transaction.atomic
def change_account(
    *, person: Person, version: int, changes: dict[str, Any], actor: User | None, now: datetime
) -> Person:
    """Any of name, phone, email, role and clients, of the person and the log-in at once.

    Raises FleetError `invalid`, Conflict `changed_meanwhile` or `last_manager`, NotFound for a client of others.
    """
    user = _log_in_of(person)
    before, seen = _told_of(person, user), set(visible_clients(user))
    if "clients" in changes:
        _refuse_beyond(actor, changes["clients"])
        user.sees_all_clients = changes["clients"] is None
    user.role = changes.get("role", user.role)
    user.last_name, user.first_name = changes.get("name", person.name), ""
    if user.role != Role.MANAGER or not user.sees_all_clients:
        _refuse_last_manager(user)
    change_email(user=user, email=changes.get("email", user.email), actor=actor, now=now)
    check_entry(user)
    for name in ("name", "phone", "email", "role"):
        setattr(person, name, changes.get(name, getattr(person, name)))
    check_entry(person)
    user.save(update_fields=["role", "last_name", "first_name", "sees_all_clients"])
    if "clients" in changes:
        user.clients.set(changes["clients"] or ())
    change_row(row=person, version=version, changes={name: each for name, each in changes.items() if name != "clients"})
    _note_changed(user, before, _told_of(person, user), actor, now)
    if (before["role"], before["clients"]) != (user.role, _clients_of(user)):
        narrowed = before["role"] != user.role or not seen <= set(visible_clients(user))
        closed = _close_doors(user, actor, now, calendars=narrowed)
        note_change(user=user, actor=actor, now=now, code="doors_closed", **closed)
    return person


@transaction.atomic
def end_access(
    *, person: Person, version: int, keep_webhooks: bool = False, actor: User | None, now: datetime
) -> Person:
    """From now on this log-in opens nothing: nor do its sessions, tokens and links, and the calendar links that it has
    or has made, whose secrets its owner knows. The person stays on records.

    keep_webhooks : those that they answered for go on, as the actor's; else they send nothing any more.
    Raises Conflict `already_ended`, `last_manager` or `changed_meanwhile`.
    """
    user = _log_in_of(person)
    if not user.is_active:
        raise Conflict("already_ended", "This log-in has ended already.")
    _refuse_last_manager(user)
    user.is_active = False
    user.set_unusable_password()
    user.save(update_fields=["is_active", "password"])
    if keep_webhooks and actor:
        keep_hooks(user=user, actor=actor, now=now)
    closed = _close_doors(user, actor, now, calendars=True)
    change_row(row=person, version=version, changes={})
    note_change(user=user, actor=actor, now=now, code="access_ended", **closed)
    return person


@transaction.atomic
def let_back(*, person: Person, version: int, actor: User | None, now: datetime) -> Person:
    """Who had left may come again, by a link; a second factor that they had still stands.

    Raises Conflict `not_ended` or `changed_meanwhile`; Forbidden `ended_by_another` to somebody of named clients where
    whoever ended it sees them all.
    """
    user = _log_in_of(person)
    if user.is_active:
        raise Conflict("not_ended", "This log-in has not ended.")
    ended = AuditEntry.objects.filter(user=user, said__0="access_ended").order_by("-id").select_related("by").first()
    of_all = ended is None or ended.by is None or ended.by.sees_all_clients
    if actor and not actor.sees_all_clients and of_all:
        words = "Who ended it sees all clients; only somebody who does too may let them back."
        raise Forbidden("ended_by_another", words)
    user.is_active = True
    return _with_link(person, version, user, what="let_back", actor=actor, now=now)


@transaction.atomic
def reset_log_in(
    *, person: Person, version: int, second_factor: bool, why: str, actor: User | None, now: datetime
) -> Person:
    """The password, earlier links, sessions, tokens and calendar links open nothing any more; a new link does, once.

    second_factor : whether that goes too, for which a reason is needed. Raises FleetError `invalid`, Conflict
    `already_ended`, `own_log_in` or `changed_meanwhile`.
    """
    user = _log_in_of(person)
    if not user.is_active:
        raise Conflict("already_ended", "This log-in has ended already.")
    if user == actor:
        raise Conflict("own_log_in", "This is your own log-in: change its password on the page of your account.")
    if second_factor and not why:
        raise FleetError("invalid", "Some fields can't be accepted.", errors={"why": coded("say_why")})
    closed = _close_doors(user, actor, now, calendars=True)
    note_change(user=user, actor=actor, now=now, code="doors_closed", **closed)
    if second_factor:
        forget_second_factor(user=user, why=why, actor=actor, now=now)
    return _with_link(person, version, user, what="reset", why=why, actor=actor, now=now)


def _close_doors(user: User, actor: User | None, now: datetime, *, calendars: bool) -> dict[str, int]:
    """Of somebody who may do other things than before, or nothing: they log in anew. Links that they have made, and one
    that they have not used, were for what they might do then; webhooks tell of what they may see now, and so do
    calendars, where they may see less. Returns how many of each have ended."""
    closed = {
        "webhooks": stop_hooks(user=user, actor=actor, now=now),
        "log_ins": LogIn.objects.filter(user=user).delete()[1].get("fleet.LogIn", 0),
        "tokens": ApiToken.objects.filter(user=user).delete()[1].get("fleet.ApiToken", 0),
        "calendars": revoke_addresses_of(user=user, actor=actor, now=now) if calendars else 0,
    }
    unused = User.objects.filter(Q(link_made_by=user) | Q(id=user.id), password__startswith="!")
    for each in unused:
        each.set_unusable_password()
        each.save(update_fields=["password"])
    return closed


def _clients_of(user: User) -> list[str] | None:
    """By name; None is all of them."""
    return None if user.sees_all_clients else list(user.clients.order_by("name", "id").values_list("name", flat=True))


def _told_of(person: Person, user: User) -> dict[str, Any]:
    return {"role": user.role, "clients": _clients_of(user), "name": person.name, "phone": person.phone}


def _note_changed(user: User, before: dict[str, Any], after: dict[str, Any], actor: User | None, now: datetime) -> None:
    """Role and clients as they were and are; of the rest, which fields: how to reach somebody stands in no trail."""
    changed = [name for name in before if before[name] != after[name]]
    for name in ("role", "clients"):
        if name in changed:
            figures = {"before": before[name], "after": after[name]}
            note_change(user=user, actor=actor, now=now, code=f"{name}_changed", **figures)
    if fields := [name for name in changed if name in ("name", "phone")]:
        note_change(user=user, actor=actor, now=now, code="details_changed", fields=fields)


def _log_in_of(person: Person) -> User:
    """As it stands now. Raises Conflict."""
    user = User.objects.filter(id=person.user_id).first() if person.user_id else None
    if user is None:
        raise Conflict("no_log_in", "This person has no log-in.")
    person.user = user
    return user


def _with_link(
    person: Person, version: int, user: User, *, what: str, actor: User | None, now: datetime, why: str = "",
    changes: Mapping[str, Any] | None = None,
) -> Person:  # fmt: skip
    """The password before opens nothing, nor do earlier links. The new one goes by mail where there is any.

    The person's row is last: all that acts on log-ins locks theirs first.
    """
    user.set_unusable_password()
    user.link_made_at, user.link_made_by, user.link_why = now, actor, why
    user.save(update_fields=["password", "is_active", "link_made_at", "link_made_by", "link_why"])
    change_row(row=person, version=version, changes=dict(changes or {}))
    if user.email and has_mail():
        jobs.request_job(kind="send_password_link", key=str(user.id), due_at=now)
    about = {"role": user.role, "clients": _clients_of(user)} if what != "reset" else {}
    note_change(user=user, actor=actor, now=now, code=what, **about)
    return person


def _refuse_beyond(actor: User | None, clients: Collection[Client] | None) -> None:
    """Nobody lets others see more than they do themselves."""
    if clients is not None and not clients:
        raise FleetError("invalid", "Some fields can't be accepted.", errors={"clients": coded("name_one")})
    if actor is None:
        return
    if clients is None and not actor.sees_all_clients:
        errors = {"clients": coded("all_clients_beyond")}
        raise FleetError("invalid", "Nobody lets others see more than they do.", errors=errors)
    if not {each.id for each in clients or ()} <= set(visible_clients(actor).values_list("id", flat=True)):
        raise NotFound("not_found", "There is no such client that you may see.")


def _in_charge() -> QuerySet[User]:
    """Managers of all clients who can come in."""
    known = User.objects.filter(role=Role.MANAGER, is_active=True, sees_all_clients=True)
    return known.exclude(password__startswith="!")


def _refuse_last_manager(user: User) -> None:
    """The rows are locked: of two who end one another at once the second sees what the first did."""
    if [each.id for each in _in_charge().select_for_update().order_by("id")] == [user.id]:
        raise Conflict("last_manager", "This is the last manager of all clients: let another one log in first.")
