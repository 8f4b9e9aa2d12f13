"""People and who of them may come in: invited, changed, ended, let back, reset; what each is qualified for and did
last."""

import uuid
from collections.abc import Callable
from datetime import date
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet import clock
from fleet.assess.refusals import found
from fleet.coded import coded
from fleet.errors import FleetError
from fleet.intake.fields import Phone
from fleet.intake.register import FUEL_KINDS
from fleet.models import Person, Role, User
from fleet.models.access import may_change, may_see
from fleet.models.register import new_id
from fleet.presentation import addresses
from fleet.presentation.alerts import has_mail
from fleet.queries.access import visible_clients, visible_tokens
from fleet.queries.calendars import visible_addresses
from fleet.queries.people import deeds_of, is_sole_manager, people_with_accounts
from fleet.queries.register import visible_people
from fleet.queries.webhooks import hooks_of
from fleet.services.people import change_account, end_access, invite_newcomer, invite_person, let_back, reset_log_in
from fleet.services.register import add_qualification
from fleet.web.forms import DayField, KindField, VersionForm, WordsField, put_beside, taken
from fleet.web.guards import act, ask_who_it_is, form, shown_next, shown_now, viewer_of
from fleet.web.places import place_of

PHONE = Phone(blank=True, label=gettext_lazy("Phone"))
ALL, NAMED = "all", "named"


class AccessForm(forms.Form):
    """What somebody may do and see, and where their link goes."""

    role = forms.ChoiceField(label=gettext_lazy("Role"), choices=Role.choices)
    sees = forms.ChoiceField(
        label=gettext_lazy("May see"),
        choices=[(ALL, gettext_lazy("all clients, now and to come")), (NAMED, gettext_lazy("only these clients:"))],
    )
    clients = forms.TypedMultipleChoiceField(label=gettext_lazy("Clients"), coerce=uuid.UUID, required=False)
    email = forms.EmailField(label=gettext_lazy("E-mail"), max_length=254, required=False)

    def __init__(self, data: Any, viewer: User, user: User | None = None) -> None:
        super().__init__(data)
        self.known = {each.id: each for each in visible_clients(viewer).order_by("name", "id")}
        self.fields["clients"].choices = [(str(id), each.name) for id, each in self.known.items()]
        if not viewer.sees_all_clients:
            self.fields["sees"].choices = self.fields["sees"].choices[1:]
        # Nobody is let see all unasked; where there is no client yet none can be named, and one chooses.
        self.initial = {"role": Role.TECHNICIAN, "sees": NAMED if self.known else ""}
        if user:
            self.initial = {"role": user.role, "email": user.email, "sees": ALL if user.sees_all_clients else NAMED}
            self.initial["clients"] = [str(each.id) for each in user.clients.all()]

    def said(self) -> dict[str, Any]:
        """What services take: clients as rows, None for all. Raises FleetError `invalid`."""
        given = taken(self)
        chosen = [self.known[each] for each in given.pop("clients")]
        if given.pop("sees") == NAMED:
            return given | {"clients": chosen}
        if chosen:
            raise FleetError("invalid", "Some fields can't be accepted.", errors={"clients": coded("all_or_some")})
        return given | {"clients": None}


class LogInForm(AccessForm):
    username = WordsField(gettext_lazy("User name"), 150, required=True)


class NewPersonForm(LogInForm):
    name = WordsField(gettext_lazy("Name"), 150, required=True)
    phone = KindField(PHONE)


class ChangeForm(AccessForm):
    name = WordsField(gettext_lazy("Name"), 150, required=True)
    phone = KindField(PHONE)

    def __init__(self, data: Any, viewer: User, person: Person) -> None:
        super().__init__(data, viewer, person.user)
        self.initial |= {"name": person.name, "phone": person.phone}


class ResetForm(forms.Form):
    second_factor = forms.BooleanField(label=gettext_lazy("Second factor"), required=False)
    why = WordsField(gettext_lazy("Why"), 300, help_text=gettext_lazy("needed where the second factor is taken off"))


class EndForm(forms.Form):
    keep_webhooks = forms.BooleanField(required=False)


class QualificationForm(forms.Form):
    scheme = WordsField(gettext_lazy("Scheme"), 100, required=True)
    number = WordsField(gettext_lazy("Number"), 100, required=True)
    fuel_kinds = forms.MultipleChoiceField(label=gettext_lazy("For"), choices=[*FUEL_KINDS.items()])
    valid_from = DayField(gettext_lazy("From"), required=True)
    valid_to = DayField(gettext_lazy("To"), required=True)


# ---- the list ----


def _qualified(person: Person, today: date) -> list[dict[str, Any]]:
    """For each fuel the last day that is recorded."""
    ends = {
        fuel: max((each.valid_to for each in person.qualifications.all() if fuel in each.fuel_kinds), default=None)
        for fuel in FUEL_KINDS
    }
    return [{"fuel": fuel, "until": end, "is_over": end < today} for fuel, end in ends.items() if end]


def _list(request: HttpRequest, refused: FleetError | None = None) -> HttpResponse:
    viewer, today = viewer_of(request), clock.today()
    sees_accounts = may_see(viewer, "accounts")
    known = people_with_accounts(viewer) if sees_accounts else visible_people(viewer).order_by("name", "id")
    rows = [{"person": each, "qualified": _qualified(each, today)} for each in known]
    states = [row["person"].user.state if row["person"].user else "none" for row in rows]
    context = {
        "rows": rows,
        "count": {state: states.count(state) for state in ("open", "invited", "ended", "none")},
        "form": NewPersonForm(request.POST if refused else None, viewer),
        "refused": refused,
        "has_mail": has_mail(),
        "sees_accounts": sees_accounts,
        "sees_contact": may_see(viewer, "contact_details"),
        "has_no_way_back": is_sole_manager(viewer) and not (has_mail() and viewer.email),
        "office_zone": settings.TIME_ZONE,
        "place": place_of(viewer.role, "installation", under="records"),
    }
    return _answer(request, "people.html", context, refused)


@form("accounts", read="people", refused=_list)
def people(request: HttpRequest) -> HttpResponse:
    """Whom the viewer may know; posted to, somebody new with a log-in, whose link their page shows once."""
    if request.method != "POST":
        return _list(request)
    viewer = viewer_of(request)
    said = NewPersonForm(request.POST, viewer).said()
    person = {name: said.pop(name) for name in ("name", "phone")}
    return _with_link(request, invite_newcomer(person=person, values=said, actor=viewer, now=clock.now()))


# ---- one of them ----


def _with_link(request: HttpRequest, person: Person) -> HttpResponse:
    """Their page, which shows the link once."""
    assert person.user is not None
    link = addresses.password_link(person.user)
    return shown_next(request, reverse("person", kwargs={"person_id": person.id}), link=link)


def _one(request: HttpRequest, person: Person, *, refused: FleetError | None = None) -> HttpResponse:
    viewer = viewer_of(request)
    person = found(people_with_accounts(viewer), person.id)
    typed = _typed_by(request) if refused else {}
    user, link = person.user, shown_now(request).get("link", "")
    context = {
        "person": person,
        "account": user,
        "link": link,
        "is_mailed": bool(link and user and user.email) and has_mail(),
        "form": ChangeForm(typed.get("change"), viewer, person) if user else LogInForm(typed.get("invite"), viewer),
        "reset_form": ResetForm(typed.get("reset")),
        "may_qualify": may_change(viewer_of(request), "people"),
        "qualification_form": QualificationForm(typed.get("qualify")),
        "qualifications": person.qualifications.all(),
        "today": clock.today(),
        "deeds": deeds_of(viewer, person),
        "tokens": [each for each in visible_tokens(viewer) if each.user_id == person.user_id],
        "calendar_links": visible_addresses(viewer).filter(user=user, revoked_at__isnull=True).count() if user else 0,
        "hooks": hooks_of(viewer, user) if user else [],
        "is_own": user == viewer,
        "refused": refused,
        "office_zone": settings.TIME_ZONE,
        "place": "installation",
    }
    return _answer(request, "person.html", context, refused)


def _typed_by(request: HttpRequest) -> dict[str, Any]:
    """What was sent, by the act that it was sent for."""
    match, acted = request.resolver_match, request.POST.get("act", "change")
    return {"qualify" if match and match.url_name == "person-qualifications" else acted: request.POST}


def _answer(request: HttpRequest, template: str, context: dict[str, Any], refused: FleetError | None) -> HttpResponse:
    for each in context.values():
        if refused and isinstance(each, forms.Form) and each.is_bound:
            put_beside(each, refused)
    answer = render(request, template, context, status=refused.status if refused else 200)
    answer["Cache-Control"] = "no-store"
    return answer


def _refused(request: HttpRequest, refused: FleetError, person_id: uuid.UUID) -> HttpResponse:
    if not may_see(viewer_of(request), "accounts"):
        return _list(request, refused)
    return _one(request, found(people_with_accounts(viewer_of(request)), person_id), refused=refused)


@form("accounts", refused=_refused)
def person(request: HttpRequest, person_id: uuid.UUID) -> HttpResponse:
    """One person; posted to, one of the acts on the log-in."""
    who = found(people_with_accounts(viewer_of(request)), person_id)
    if request.method != "POST":
        return _one(request, who)
    done = ACTS.get(request.POST.get("act", ""), _change)
    by = {"person": who, "version": taken(VersionForm(request.POST))["version"]}
    return done(request, by | {"actor": viewer_of(request), "now": clock.now()})


def _change(request: HttpRequest, by: dict[str, Any]) -> HttpResponse:
    changes = ChangeForm(request.POST, by["actor"], by["person"]).said()
    if by["person"].user and changes["email"] != by["person"].user.email:
        ask_who_it_is(request)
    change_account(changes=changes, **by)
    messages.success(request, _("%s is changed.") % by["person"].name)
    return redirect("person", person_id=by["person"].id)


def _invite(request: HttpRequest, by: dict[str, Any]) -> HttpResponse:
    return _with_link(request, invite_person(values=LogInForm(request.POST, by["actor"]).said(), **by))


def _reset(request: HttpRequest, by: dict[str, Any]) -> HttpResponse:
    return _with_link(request, reset_log_in(**taken(ResetForm(request.POST)), **by))


def _let_back(request: HttpRequest, by: dict[str, Any]) -> HttpResponse:
    return _with_link(request, let_back(**by))


def _end(request: HttpRequest, by: dict[str, Any]) -> HttpResponse:
    end_access(**taken(EndForm(request.POST)), **by)
    messages.success(request, _("The access of %s has ended: nothing of it opens anything.") % by["person"].name)
    return redirect("people")


Act = Callable[[HttpRequest, dict[str, Any]], HttpResponse]
ACTS: dict[str, Act] = {"invite": _invite, "reset": _reset, "let_back": _let_back, "end": _end}


@act("people", place="people", refused=_refused)
def qualify(request: HttpRequest, person_id: uuid.UUID) -> HttpResponse:
    """Record a qualification."""
    viewer = viewer_of(request)
    who = found(visible_people(viewer), person_id)
    given = taken(QualificationForm(request.POST))
    content = given | {name: f"{given[name]:%Y-%m-%d}" for name in ("valid_from", "valid_to")}
    add_qualification(person=who, content=content, actor=viewer, now=clock.now(), id=new_id())
    messages.success(request, _("The qualification is recorded."))
    return redirect("person", person_id=who.id) if may_see(viewer, "accounts") else redirect("people")
