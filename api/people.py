"""People who do the work, their qualifications, and their log-ins: who may come in, and for which clients."""

import uuid
from typing import Annotated, Any

from allauth.account.internal.flows.reauthentication import did_recently_reauthenticate
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import NO_STORE, ActDoor, Door, EntryDoor, EntryListDoor, ListDoor, RecordedDoor, version_named
from api.fields import Reference, Said
from api.filters import EXTERNAL_REFERENCE, by_word
from api.shapes import EntryIn, EntryOut, RowOut
from fleet import clock
from fleet.errors import Forbidden
from fleet.intake import register
from fleet.intake.fields import LEFT_OUT, Email, Id, Many, Phone, Shape, Text, Word, YesNo
from fleet.intake.register import QualificationIn
from fleet.models import ApiToken, Person, Qualification, Role, Webhook
from fleet.presentation import addresses
from fleet.queries.access import visible_clients
from fleet.queries.people import deeds_of, people_with_accounts, visible_accounts
from fleet.queries.register import visible_people
from fleet.queries.webhooks import hooks_of
from fleet.services.people import change_account, change_person, end_access, invite_person, let_back, reset_log_in
from fleet.services.register import add_qualification


class PersonIn(EntryIn, register.PersonIn):
    pass


class PersonOut(EntryOut):
    """How to reach somebody, and as what they work, is for colleagues: an auditor sees names and qualifications. Whose
    log-in it is sees who manages it."""

    row, columns, told_by = Person, "name role", PersonIn
    rights = {"role": "contact_details", "user": "accounts"}
    phone = serializers.CharField()
    email = serializers.CharField()
    user = serializers.SerializerMethodField()

    @extend_schema_field(serializers.UUIDField(allow_null=True))
    def get_user(self, person: Person) -> uuid.UUID | None:
        if "accounts" not in self.context:
            mine = visible_accounts(self.context["viewer"])
            self.context["accounts"] = set(mine.values_list("id", flat=True))
        return person.user_id if person.user_id in self.context["accounts"] else None


class NewQualification(QualificationIn):
    id: Annotated[uuid.UUID, Id()] = LEFT_OUT


class QualificationOut(RowOut):
    row, columns = Qualification, "id person scheme number valid_from valid_to record"
    fuel_kinds = serializers.ListField(child=serializers.CharField())


class People(EntryListDoor):
    """Everybody whose name stands on records."""

    subject, query, shape_in, shape_out = "people", visible_people, PersonIn, PersonOut
    filters = (by_word("role", "role", Role.values, under="contact_details"), EXTERNAL_REFERENCE)


class OnePerson(EntryDoor):
    """One person."""

    subject, query, shape_in, shape_out = "people", visible_people, PersonIn, PersonOut

    def change(self, entry: Person, version: int, changes: dict[str, Any]) -> Person:
        return change_person(person=entry, version=version, changes=changes, actor=self.viewer, now=clock.now())


class Qualifications(RecordedDoor):
    """What somebody is qualified for, from when to when. Recorded, never edited."""

    subject, query, shape_in, shape_out = "people", visible_people, NewQualification, QualificationOut
    kind, of, parts = "qualification", "person", "qualifications"

    def record(self, id: uuid.UUID, content: dict[str, Any]) -> Qualification:
        return add_qualification(person=self.whole, content=content, actor=self.viewer, now=clock.now(), id=id)


# ---- log-ins ----

Clients = Annotated[
    list[Annotated[Any, Reference(visible_clients)]] | None, Many(1, 500, null=True, help="null: all, now and to come.")
]


class InvitationIn(Shape):
    username: Annotated[str, Text(150)]
    role: Annotated[str, Word(Role.values)]
    clients: Clients
    email: Annotated[str, Email(blank=True, help="Where the link goes, where there is mail.")] = LEFT_OUT


class AccountChange(Shape):
    name: Annotated[str, Text(150)]
    phone: Annotated[str, Phone(blank=True)]
    email: Annotated[str, Email(blank=True)]
    role: Annotated[str, Word(Role.values)]
    clients: Clients


class ResetIn(Shape):
    second_factor: Annotated[bool, YesNo(help="Whether it is taken off too.")] = LEFT_OUT
    why: Annotated[str, Text(300, blank=True, help="Needed where a second factor is taken off.")] = LEFT_OUT


def state_of(person: Person) -> str:
    return person.user.state if person.user else "none"


class AccountOut(RowOut):
    row, columns = Person, "id name version"
    username = serializers.CharField(source="user.username", allow_null=True, help_text="null: no log-in.")
    role = serializers.CharField(source="user.role", allow_null=True)
    email = serializers.CharField(source="user.email", allow_null=True)
    state = Said(state_of, help_text="none; invited: the link is not used yet; open; ended.")
    clients = serializers.SerializerMethodField(help_text="null: all.")
    last_login = serializers.DateTimeField(source="user.last_login", allow_null=True)
    link_made_at = serializers.DateTimeField(
        source="user.link_made_at", allow_null=True, help_text="Of the last link; it opens for seven days, once."
    )

    @extend_schema_field(serializers.ListField(child=serializers.UUIDField(), allow_null=True))
    def get_clients(self, person: Person) -> list[Any] | None:
        if person.user is None:
            return []
        return None if person.user.sees_all_clients else [each.id for each in person.user.clients.all()]


class DeedOut(serializers.Serializer[Any]):
    at = serializers.DateTimeField()
    what = serializers.CharField(help_text="A kind of record, or what else was done.")
    name = serializers.CharField()


class HookOut(RowOut):
    row, columns = Webhook, "id name client is_on"
    host = serializers.CharField()
    owner = serializers.UUIDField(source="owner.id", help_text="Who answers for it.")


class OneAccountOut(AccountOut):
    webhooks = serializers.SerializerMethodField(help_text="Those that they made or answer for, of what you may see.")
    deeds = serializers.SerializerMethodField(help_text="What they did last, the latest first.")

    @extend_schema_field(HookOut(many=True))
    def get_webhooks(self, person: Person) -> Any:
        made = hooks_of(self.context["viewer"], person.user) if person.user else []
        return HookOut(made, many=True).data

    @extend_schema_field(DeedOut(many=True))
    def get_deeds(self, person: Person) -> Any:
        return DeedOut(deeds_of(self.context["viewer"], person), many=True).data


class AccountLinkOut(AccountOut):
    link = serializers.CharField(help_text="Shown this once: whoever has it sets the password, once.")


class Accounts(ListDoor):
    """Everybody's log-in, and who has none, by the ids of people. A manager limited to some clients sees those of
    people who see nothing but these. Changes, ends and links are a manager's; one who is logged in, not a token."""

    subject, query, shape_out = "accounts", people_with_accounts, AccountOut


class OneAccount(EntryDoor):
    """One person's log-in, with the version of the person. Another address is taken from who has shown in the last five
    minutes that it is them."""

    subject, query, shape_in, shape_out = "accounts", people_with_accounts, AccountChange, OneAccountOut

    def change(self, entry: Person, version: int, changes: dict[str, Any]) -> Person:
        refuse_token(self.request)
        if entry.user and changes.get("email", entry.user.email) != entry.user.email:
            refuse_unless_shown(self.request)
        return change_account(person=entry, version=version, changes=changes, actor=self.viewer, now=clock.now())


class EndIn(Shape):
    keep_webhooks: Annotated[
        bool, YesNo(help="Whether those that they answer for go on, as yours; else they stop.")
    ] = LEFT_OUT


class EndAccess(ActDoor):
    """From now on this log-in, its tokens, its calendar links and those that it has made open nothing."""

    subject, query, shape_in, shape_out, versioned = "accounts", people_with_accounts, EndIn, AccountOut, True

    def act(self, thing: Person, version: int, said: dict[str, Any]) -> Person:
        refuse_token(self.request)
        return end_access(person=thing, version=version, **said, actor=self.viewer, now=clock.now())


class LinkDoor(Door):
    # What ends with a link that sets a password; a token lets nobody in.
    subject, query, shape_out, versioned = "accounts", people_with_accounts, AccountLinkOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        refuse_token(request)
        person = self.act(self.one(), version_named(request), self.taken() if self.shape_in else {})
        assert person.user is not None
        shown: Any = self.one()
        shown.link = addresses.password_link(person.user)  # for this one answer
        return self.shown(shown, **NO_STORE)

    def act(self, person: Person, version: int, said: dict[str, Any]) -> Person:
        """What ends with the link; each address has its own way."""
        raise NotImplementedError


class Invite(LinkDoor):
    """A log-in for a person who has none, opened by the link alone: once, within seven days."""

    shape_in = InvitationIn

    def act(self, person: Person, version: int, said: dict[str, Any]) -> Person:
        values = {"email": ""} | said
        return invite_person(person=person, version=version, values=values, actor=self.viewer, now=clock.now())


class LetBack(LinkDoor):
    """Who had left may come again, by the link."""

    def act(self, person: Person, version: int, said: dict[str, Any]) -> Person:
        return let_back(person=person, version=version, actor=self.viewer, now=clock.now())


class ResetLogIn(LinkDoor):
    """The password, earlier links and sessions end, the second factor too if asked for; the link sets a new one."""

    shape_in = ResetIn

    def act(self, person: Person, version: int, said: dict[str, Any]) -> Person:
        given = {"second_factor": False, "why": ""} | said
        return reset_log_in(person=person, version=version, **given, actor=self.viewer, now=clock.now())


def refuse_unless_shown(request: Request) -> None:
    """Where a link for a new password goes is changed, and what opens without a log-in is made, by who has just shown
    that it is them."""
    refuse_token(request)
    if not did_recently_reauthenticate(request._request):
        raise Forbidden("log_in_again", "Show once more that it is you, at /log-in/again/, and send it again.")


def refuse_token(request: Request) -> None:
    """So that a token that was found can't become a log-in."""
    if isinstance(request.auth, ApiToken):
        raise Forbidden("log_in_by_token", "Log in to do this; a token lets nobody in.")
