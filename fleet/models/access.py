"""Who may log in, in which role, for which clients; the tokens of other programs; and who may see and change what: the
one table that the API and the pages read."""

from collections.abc import Mapping
from enum import Enum
from typing import NamedTuple, Optional

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext_lazy as _
from knox.models import AbstractAuthToken

from fleet.models.register import new_id


class Role(models.TextChoices):
    TECHNICIAN = "technician", _("technician")
    DISPATCHER = "dispatcher", _("dispatcher")
    MANAGER = "manager", _("manager")
    AUDITOR = "auditor", _("auditor")


class User(AbstractUser):
    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    role = models.CharField(max_length=20, choices=Role.choices)
    sees_all_clients = models.BooleanField(default=False)
    clients = models.ManyToManyField("fleet.Client", blank=True, related_name="viewers")
    # Of the last link by which somebody else let this user set a password; by nobody: on the machine itself.
    link_made_at = models.DateTimeField(null=True, blank=True)
    link_made_by = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    link_why = models.CharField(max_length=300, blank=True)
    # The limited token by which this user asks, for one request: never stored.
    limited_by: Optional["ApiToken"] = None

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(role__in=Role.values), name="user_role_is_known")]

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    @property
    def state(self) -> str:
        """ "open"; "invited" where the password is still to be set by a link; "ended"."""
        if not self.is_active:
            return "ended"
        return "open" if self.has_usable_password() else "invited"

    def limit_to(self, token: "ApiToken") -> None:
        """For this request, of these clients only those that the token names."""
        self.limited_by, token.owner_sees_all, self.sees_all_clients = token, self.sees_all_clients, False


class ApiToken(AbstractAuthToken):
    """Another program's key: hashed at rest, shown once, expires; `read` can't change anything."""

    class Scope(models.TextChoices):
        READ = "read", _("read")
        WRITE = "write", _("read and write")

    name = models.CharField(max_length=100)
    scope = models.CharField(max_length=10, choices=Scope.choices, default=Scope.READ)
    is_limited = models.BooleanField(default=False)
    used_on = models.DateField(null=True, blank=True)
    owner_sees_all = False
    clients = models.ManyToManyField("fleet.Client", blank=True, related_name="tokens")


class LogIn(models.Model):
    """A session (`fleet/sessions.py`), of nobody until somebody has logged in. network: of its last request."""

    key = models.CharField(primary_key=True, max_length=64)
    data = models.TextField()
    user = models.ForeignKey(User, null=True, on_delete=models.CASCADE, related_name="log_ins")
    made_at = models.DateTimeField()
    seen_at = models.DateTimeField()
    expires_at = models.DateTimeField(db_index=True)
    network = models.CharField(max_length=50, blank=True)
    browser = models.CharField(max_length=60, blank=True)


class Kept(models.Model):
    """What all processes must know at once for a while, in the form that Django's cache wants: codes that were used,
    and how many were wrong."""

    cache_key = models.CharField(primary_key=True, max_length=255)
    value = models.TextField()
    expires = models.DateTimeField(db_index=True)


Roles = frozenset[str]

NOBODY: Roles = frozenset()
TECHNICIAN, MANAGER, AUDITOR = frozenset({Role.TECHNICIAN}), frozenset({Role.MANAGER}), frozenset({Role.AUDITOR})
OFFICE: Roles = frozenset({Role.DISPATCHER, Role.MANAGER})
FIELD: Roles = OFFICE | TECHNICIAN
EVERYBODY: Roles = FIELD | AUDITOR


class Whose(Enum):
    """What a row of the table is of.

    CLIENTS: of those that the user may see; of others nobody sees or changes anything. SHARED: of the installation,
    read by whoever it judges, changed only by who sees all clients. INSTALLATION: seen only by them too. OWN: each
    their own. ANYBODY: read without logging in.
    """

    CLIENTS = "clients"
    SHARED = "shared"
    INSTALLATION = "installation"
    OWN = "own"
    ANYBODY = "anybody"


class Access(NamedTuple):
    see: Roles
    change: Roles = NOBODY
    whose: Whose = Whose.CLIENTS


ACCESS: Mapping[str, Access] = {
    # what needs attention, and what follows from a visit
    "attention": Access(FIELD),
    "flags": Access(EVERYBODY, FIELD),
    "stop_flags_closed": Access(EVERYBODY, TECHNICIAN | MANAGER),
    "other_flags_closed": Access(EVERYBODY, OFFICE),
    "alerts": Access(FIELD),
    "questions": Access(EVERYBODY, OFFICE),
    "defects": Access(EVERYBODY, OFFICE),
    "deliveries": Access(EVERYBODY, OFFICE),
    "retests": Access(EVERYBODY),
    "revisits": Access(EVERYBODY, OFFICE),
    "no_access": Access(EVERYBODY, FIELD),
    "required_checks": Access(EVERYBODY, OFFICE),
    "what_if": Access(EVERYBODY),
    # visits and their records
    "visits": Access(EVERYBODY, FIELD),
    "amendments": Access(EVERYBODY, OFFICE),
    "files": Access(EVERYBODY, FIELD),
    "records": Access(EVERYBODY),
    "unreadable_records": Access(OFFICE, OFFICE, Whose.INSTALLATION),
    "statements": Access(OFFICE | AUDITOR),
    "cards": Access(EVERYBODY),
    "advice": Access(EVERYBODY, FIELD),
    "forecasts": Access(EVERYBODY),
    "forecast_accuracy": Access(OFFICE | AUDITOR),
    # the register
    "clients": Access(EVERYBODY, OFFICE),
    "buildings": Access(EVERYBODY, OFFICE),
    "gas_supplies": Access(EVERYBODY, OFFICE),
    "tenancies": Access(EVERYBODY, OFFICE),
    "appliances": Access(EVERYBODY, OFFICE),
    "out_of_use": Access(EVERYBODY, OFFICE),
    "gas_conversions": Access(EVERYBODY, OFFICE),
    "replacements": Access(EVERYBODY, OFFICE),
    "flue_groups": Access(EVERYBODY, OFFICE),
    "people": Access(EVERYBODY, OFFICE, Whose.SHARED),
    "contact_details": Access(FIELD, OFFICE),
    "analysers": Access(EVERYBODY, OFFICE, Whose.SHARED),
    # what is judged by
    "sheets": Access(EVERYBODY, MANAGER, Whose.SHARED),
    "limit_sets": Access(EVERYBODY, MANAGER, Whose.SHARED),
    "comparisons": Access(EVERYBODY),
    "assignments": Access(EVERYBODY, OFFICE),
    "stop_levels": Access(EVERYBODY, MANAGER, Whose.SHARED),
    # the house
    "contractor": Access(EVERYBODY, MANAGER, Whose.SHARED),
    "planning_settings": Access(MANAGER, MANAGER, Whose.INSTALLATION),
    "background_work": Access(MANAGER, MANAGER, Whose.INSTALLATION),
    "audit_trail": Access(MANAGER, NOBODY, Whose.INSTALLATION),
    "own_alerts": Access(FIELD, FIELD, Whose.OWN),
    "daily_summary": Access(OFFICE, OFFICE),
    "on_call": Access(OFFICE, MANAGER, Whose.SHARED),
    "webhooks": Access(MANAGER, MANAGER),
    "allowed_hosts": Access(MANAGER, MANAGER, Whose.INSTALLATION),
    "calendars": Access(FIELD, FIELD),
    "calendars_of_others": Access(OFFICE, OFFICE),
    "accounts": Access(MANAGER, MANAGER),
    "tokens": Access(EVERYBODY, EVERYBODY, Whose.OWN),
    "tokens_of_others": Access(MANAGER, MANAGER, Whose.INSTALLATION),
    "log_ins": Access(EVERYBODY, EVERYBODY, Whose.OWN),
    "documentation": Access(EVERYBODY, NOBODY, Whose.SHARED),
    # without logging in; calendars and links by their secret
    "first_line": Access(EVERYBODY, NOBODY, Whose.ANYBODY),
    "glossary": Access(EVERYBODY, NOBODY, Whose.ANYBODY),
    "logging_in": Access(EVERYBODY, EVERYBODY, Whose.ANYBODY),
    "calendar_feeds": Access(EVERYBODY, NOBODY, Whose.ANYBODY),
}


def may_see(user: User, subject: str) -> bool:
    """Nobody who isn't active sees anything."""
    row = ACCESS[subject]
    limited = row.whose is Whose.INSTALLATION and not user.sees_all_clients
    return user.is_active and user.role in row.see and not limited


def changes_anything(user: User) -> bool:
    """Whether they change more than what is their own."""
    own = (Whose.OWN, Whose.ANYBODY)
    return any(may_change(user, subject) for subject, row in ACCESS.items() if row.whose not in own)


def may_change(user: User, subject: str) -> bool:
    row = ACCESS[subject]
    limited = row.whose in (Whose.SHARED, Whose.INSTALLATION) and not user.sees_all_clients
    return user.is_active and user.role in row.change and not limited
