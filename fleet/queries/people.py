"""People with their log-ins, as a manager may see them, and what each did last."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import F, Prefetch, Q, QuerySet, Value

from fleet.models import AuditEntry, Client, Flag, Person, Record, Role, User
from fleet.models.access import may_see
from fleet.queries.access import visible_clients

MOST_DEEDS = 12
# Codes of the trail for what somebody makes or ends of their own, by its name.
MADE = ("token_made", "token_ended", "calendar_made", "calendar_renewed", "calendar_revoked")


def visible_accounts(viewer: User) -> QuerySet[User]:
    """Log-ins of people: of a manager of all clients everybody's; of one limited to some their own, and those of people
    who see nothing but these."""
    known = User.objects.filter(person__isnull=False)
    if not may_see(viewer, "accounts"):
        return known.none()
    if viewer.sees_all_clients:
        return known
    mine = visible_clients(viewer)
    elsewhere = User.objects.filter(clients__in=Client.objects.exclude(id__in=mine))
    named = User.objects.filter(sees_all_clients=False, clients__in=mine).exclude(id__in=elsewhere)
    return known.filter(Q(id=viewer.id) | Q(id__in=named))


def people_with_accounts(viewer: User) -> QuerySet[Person]:
    """Everybody whose log-in the viewer may see, and who has none; nobody for who may see no
    log-ins."""
    if not may_see(viewer, "accounts"):
        return Person.objects.none()
    known = Person.objects.filter(Q(user__isnull=True) | Q(user__in=visible_accounts(viewer)))
    by_name = Prefetch("user__clients", Client.objects.order_by("name", "id"))
    return known.select_related("user__link_made_by").prefetch_related(by_name, "qualifications").order_by("name", "id")


def is_sole_manager(viewer: User) -> bool:
    """Whether no other manager of all clients can log in, and make them a link."""
    if not may_see(viewer, "accounts"):
        return False
    others = User.objects.filter(role=Role.MANAGER, is_active=True, sees_all_clients=True).exclude(id=viewer.id)
    return not others.exclude(password__startswith="!").exists()


@dataclass(frozen=True)
class PersonDeed:
    """what : a record's kind, or a code of the sentences' table "deeds"; name : of which, where it has one."""

    at: datetime
    what: str
    name: str = ""


def _rows_by(user: User) -> list[QuerySet[Any, Any]]:
    """Each kind of thing that names who did it, with `at`, `what` and `of`."""
    nothing = Value("")
    closed = Flag.objects.filter(closed_by=user).annotate(at=F("closed_at"), what=Value("flag_closed"), of=F("kind"))
    answered = Flag.objects.filter(acknowledged_by=user).annotate(
        at=F("acknowledged_at"), what=Value("flag_answered"), of=F("kind")
    )
    records = Record.objects.filter(actor=user).annotate(at=F("received_at"), what=F("kind"), of=nothing)
    return [records, answered, closed]


def _on_trail(user: User) -> list[tuple[datetime, str, str]]:
    """What they did that leaves no row, or one that ends with their access: at, what and of which."""
    came = Q(user=user, kind__in=[AuditEntry.Kind.LOGGED_IN, AuditEntry.Kind.EXPORTED])
    did = Q(by=user, kind=AuditEntry.Kind.ACCESS_CHANGED) & (Q(said__0__in=MADE) | ~Q(user=user))
    entries = AuditEntry.objects.filter(came | did).order_by("-at", "-id")[:MOST_DEEDS]
    told = []
    for each in entries:
        if each.said and each.said[0] in MADE:
            told.append((each.at, each.said[0], each.said[1]["name"]))
        else:
            told.append((each.at, each.kind, ""))
    return told


def deeds_of(viewer: User, person: Person) -> list[PersonDeed]:
    """What somebody did last, the latest first, from what is recorded of it: at most twelve."""
    user = visible_accounts(viewer).filter(person=person).first()
    if user is None:
        return []
    foreign = set(Client.objects.exclude(id__in=visible_clients(viewer)).values_list("name", flat=True))
    known = [(at, what, "" if name in foreign else name) for at, what, name in _on_trail(user)]
    for rows in _rows_by(user):
        known += rows.order_by("-at").values_list("at", "what", "of")[:MOST_DEEDS]
    return [PersonDeed(*each) for each in sorted(known, key=lambda each: each[0], reverse=True)[:MOST_DEEDS]]
