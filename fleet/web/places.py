"""What every page's head shows: the contractor, and the places by the role of who is logged in."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from fleet.models import Contractor, User
from fleet.models.access import Role
from fleet.web.guards import page


@dataclass(frozen=True)
class HeadPlace:
    """`name` is the URL's name and what a page calls itself by."""

    name: str
    label: str | Promise


_ATTENTION = HeadPlace("attention", _("Attention"))
_BUILDINGS = HeadPlace("buildings", _("Buildings"))
_REQUIRED_CHECKS = HeadPlace("required-checks", _("Checks"))
_SHEETS = HeadPlace("sheets", _("Sheets and limits"))
_RECORDS = HeadPlace("records", _("Records"))
_STATEMENTS = HeadPlace("statements", _("Statements"))
_DELIVERIES = HeadPlace("deliveries", _("Deliveries"))
_DEFECTS = HeadPlace("defects", _("Defects"))
_INSTALLATION = HeadPlace("installation", _("Set-up"))
_OFFICE = (_ATTENTION, _BUILDINGS, _REQUIRED_CHECKS, _RECORDS, _STATEMENTS, _SHEETS)

_BY_ROLE: dict[str, tuple[HeadPlace, ...]] = {
    Role.TECHNICIAN: (_ATTENTION, _BUILDINGS, _REQUIRED_CHECKS, _RECORDS, _SHEETS),
    Role.DISPATCHER: _OFFICE,
    Role.MANAGER: (*_OFFICE[:-1], _INSTALLATION),
    Role.AUDITOR: (_STATEMENTS, _RECORDS, _BUILDINGS, _REQUIRED_CHECKS, _DELIVERIES, _DEFECTS, _SHEETS),
}


# What a manager finds in the place that is named after the installation.
_IN_INSTALLATION = frozenset({"sheets", "audit-trail"})


def places_of(role: str) -> tuple[HeadPlace, ...]:
    """What somebody of this role finds in the head, the page after logging in first; nothing for an unknown role."""
    return _BY_ROLE.get(role, ())


def first_place_of(user: User) -> str:
    """Where somebody begins, by the name of its page."""
    return next((each.name for each in places_of(user.role)), "mfa_index")


def place_of(role: str, name: str, under: str) -> str:
    """Where a page stands: at its own place where the role has it in the head, else under another."""
    return name if name in {each.name for each in places_of(role)} else under


def present_of(role: str, name: str) -> str:
    """The place in this role's head under which a page stands."""
    return place_of(role, name, under="installation") if name in _IN_INSTALLATION else name


@page("accounts")
def installation(request: HttpRequest) -> HttpResponse:
    """Where a manager finds what this installation stands on."""
    return render(request, "installation.html")


def head(request: HttpRequest) -> dict[str, Any]:
    contractor = Contractor.objects.filter(id=1).first()
    return {"contractor": contractor}
