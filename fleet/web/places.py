"""The places of the head, by the role of who is logged in."""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from fleet.models.access import Role


@dataclass(frozen=True)
class HeadPlace:
    """`name` is the URL's name and what a page calls itself by."""

    name: str
    label: str | Promise


_ATTENTION = HeadPlace("attention", _("Attention"))
_BUILDINGS = HeadPlace("buildings", _("Buildings"))
_DUTIES = HeadPlace("duties", _("Duties"))
_SHEETS = HeadPlace("sheets", _("Sheets and limits"))
_RECORDS = HeadPlace("records", _("Records"))
_STATEMENTS = HeadPlace("statements", _("Statements"))
_OFFICE = (_ATTENTION, _BUILDINGS, _DUTIES, _SHEETS, _RECORDS, _STATEMENTS)

_BY_ROLE: dict[str, tuple[HeadPlace, ...]] = {
    Role.TECHNICIAN: (_ATTENTION, _BUILDINGS, _DUTIES, _SHEETS, _RECORDS),
    Role.DISPATCHER: _OFFICE,
    Role.MANAGER: _OFFICE,
    Role.AUDITOR: (_STATEMENTS, _RECORDS, _BUILDINGS, _DUTIES, _SHEETS),
}


def places_of(role: str) -> tuple[HeadPlace, ...]:
    """What somebody of this role finds in the head, the page after logging in first; nothing for an unknown
    role."""
    return _BY_ROLE.get(role, ())
