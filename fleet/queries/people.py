"""People with their log-ins, as a manager may see them, and what each did last."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import F, Prefetch, Q, QuerySet, Value

from fleet.models import ApiToken, CalendarLink, Client, Flag, LogIn, Person, Record, User
from fleet.models.access import may_see
from fleet.queries.access import visible_clients

MOST_DEEDS = 12


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
    links = CalendarLink.objects.filter(made_by=user)
    return [
        Record.objects.filter(actor=user).annotate(at=F("received_at"), what=F("kind"), of=nothing),
        LogIn.objects.filter(user=user).annotate(at=F("seen_at"), what=Value("logged_in"), of=F("browser")),
        ApiToken.objects.filter(user=user).annotate(at=F("created"), what=Value("token_made"), of=F("name")),
        links.annotate(at=F("made_at"), what=Value("calendar_made"), of=nothing),
        answered,
        closed,
    ]


def deeds_of(viewer: User, person: Person) -> list[PersonDeed]:
    """What somebody did last, the latest first, from what is recorded of it: at most twelve."""
    user = visible_accounts(viewer).filter(person=person).first()
    if user is None:
        return []
    known = [
        each for rows in _rows_by(user) for each in rows.order_by("-at").values_list("at", "what", "of")[:MOST_DEEDS]
    ]
    return [PersonDeed(*each) for each in sorted(known, key=lambda each: each[0], reverse=True)[:MOST_DEEDS]]
