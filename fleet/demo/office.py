"""The office's week: proposals booked and confirmed, occupiers told, attempts recorded, records sent, questions
resolved."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID

from fleet.demo.pictures import letter_photo
from fleet.demo.places import CLIENTS, WITH_TENANTS
from fleet.demo.town import Town
from fleet.demo.visits import OWNERS
from fleet.models import Defect, Delivery, NoAccess, Question, Revisit, Sending, StoredFile, User
from fleet.services.deliveries import fail_delivery, send_delivery
from fleet.services.files import store_file
from fleet.services.follow_ups import resolve_defect
from fleet.services.no_access import record_no_access
from fleet.services.revisit_days import Notice, book_day, release_day
from fleet.services.visits import resolve_question

BOOKED_AHEAD = timedelta(days=35)
CONFIRMED_AHEAD = timedelta(days=14)
AFTER_AN_ATTEMPT, AFTER_ILLNESS = timedelta(days=18), timedelta(days=9)
SERVED_TOGETHER = timedelta(days=45)  # one attendance serves what falls due so soon after the first
NOTICE_DAYS = 7
TENANTED = frozenset(CLIENTS[key] for key in WITH_TENANTS)
ILL = {14: 4, 34: 1, 41: 0}  # in which week which of the crew
RETURNED = 9  # each so many-th sending comes back
SENT_AFTER, SENT_AGAIN_AFTER = timedelta(days=9), timedelta(days=42)


@dataclass(frozen=True)
class Attempt:
    """Somebody comes and doesn't get in, at the first tenanted stop from this week on."""

    week: int
    kind: NoAccess.Kind
    note: str
    letter: str
    photo: bool = False
    answered: bool = True


ATTEMPTS = (
    Attempt(8, NoAccess.Kind.NOBODY_IN, "Rang twice; waited a quarter of an hour.", "card left with two new days"),
    Attempt(19, NoAccess.Kind.NO_KEY, "The key at the caretaker's opens the old lock.", "letter to the owner"),
    Attempt(31, NoAccess.Kind.NOBODY_IN, "Nobody in at the agreed time.", "letter left, copy to the owner", photo=True),
    Attempt(37, NoAccess.Kind.OFF, "No gas at the meter; the supplier comes on Friday.", ""),
    Attempt(41, NoAccess.Kind.REFUSED, "Not now, says the occupier.", "letter sent: why and by when", answered=False),
    Attempt(
        43,
        NoAccess.Kind.NOBODY_IN,
        "Nobody in; away, says a neighbour.",
        "letter left with a number to call",
        photo=True,
        answered=False,
    ),
    Attempt(50, NoAccess.Kind.NOBODY_IN, "Nobody in at the agreed time.", "card left with a new day"),
)


def evening(day: date, hour: int = 18) -> datetime:
    return datetime.combine(day, time(hour), UTC)


# ---- planning ----


def book(town: Town, monday: date) -> None:
    """A day and a technician for what must be seen within five weeks, one attendance a building."""
    asked = Revisit.objects.filter(state=Revisit.State.PROPOSED, latest__lte=monday + BOOKED_AHEAD + SERVED_TOGETHER)
    known = [(each, town.lives.get(each.appliance_id)) for each in asked.select_related("appliance__building")]
    for some in _by_building(each for each, life in known if life and not (life.stands_still or life.no_answer)):
        first = min(each.latest for each in some)
        if first > monday + BOOKED_AHEAD:
            continue
        wanted = first - timedelta(days=int(town.rng.integers(4, 13)))
        if any(each.no_access for each in some):
            wanted = monday + AFTER_AN_ATTEMPT  # the letter gives them time to answer
        elif any(each.note for each in some):
            wanted = monday + AFTER_ILLNESS
        parts = [day for each in some if (day := town.lives[each.appliance_id].part_comes)]
        day = workday(max(wanted, monday + timedelta(days=3), *parts))
        for each in (each for each in some if each.latest <= day + SERVED_TOGETHER):
            member = town.member_of(town.lives[each.appliance_id])
            another = Notice("agreed", monday, "by telephone: another day", 0) if each.note else None
            book_day(revisit=each, version=each.version, state=Revisit.State.BOOKED, day=day, note="", notice=another,
                    technician=member.person, actor=town.dispatcher, now=evening(monday, 9))  # fmt: skip


def confirm(town: Town, monday: date) -> None:
    """What comes within a fortnight: occupiers with a tenancy are told or agree; elsewhere a call is enough."""
    soon = Revisit.objects.filter(state=Revisit.State.BOOKED, day__gt=monday, day__lte=monday + CONFIRMED_AHEAD)
    for some in _by_building(soon.select_related("appliance__building__client", "technician")):
        tenanted = some[0].appliance.building.client.name in TENANTED
        asked = town.rng.random()
        if not tenanted and asked < 0.3:
            continue  # the caretaker is called on the day before
        for each in some:
            notice = _notice(each, monday, agreed=asked < 0.6) if tenanted else None
            book_day(revisit=each, version=each.version, state=Revisit.State.CONFIRMED, day=each.day or monday,
                    note="" if tenanted else "The caretaker opens.", notice=notice, technician=each.technician,
                    actor=town.dispatcher, now=evening(monday, 10))  # fmt: skip


def _notice(revisit: Revisit, monday: date, *, agreed: bool) -> Notice | None:
    if agreed:
        return Notice("agreed", monday, "by telephone", NOTICE_DAYS)
    if revisit.day and revisit.day >= monday + timedelta(days=NOTICE_DAYS):
        return Notice("told", monday, "by letter", NOTICE_DAYS)
    return Notice("agreed", monday, "by text message", 0)


def _by_building(revisits: Iterable[Revisit]) -> list[list[Revisit]]:
    """In the order of names, so that the same day makes the same demonstration."""
    grouped: dict[UUID, list[Revisit]] = defaultdict(list)
    for each in sorted(revisits, key=lambda each: (each.appliance.building.name, each.appliance.name)):
        grouped[each.appliance.building_id].append(each)
    return list(grouped.values())


def workday(day: date) -> date:
    return day + timedelta(days=(7 - day.weekday()) if day.weekday() > 4 else 0)


def is_soon_late(revisit: Revisit) -> bool:
    """Of a tenanted place, and so near its last day that another day will be late."""
    assert revisit.day is not None  # asked of what is set for a day
    by_check = revisit.date_set_by == "required_check" and revisit.latest <= revisit.day + timedelta(days=14)
    return by_check and revisit.appliance.building.client.name in TENANTED


def attempt(made: Attempt, revisit: Revisit, actor: User) -> None:
    """Recorded on the spot, with what was left; a photo of the letter where one was taken."""
    assert revisit.day is not None  # it was set for that day
    at, now = evening(revisit.day, 10), evening(revisit.day, 11)
    recorded = record_no_access(
        appliances=[revisit.appliance], at=at, kind=made.kind, note=made.note, letter=made.letter, actor=actor, now=now
    )
    if made.photo:
        store_file(no_access=recorded[0], name="letter.png", media_type=StoredFile.MediaType.PNG, data=letter_photo(),
                   what=StoredFile.What.LETTER, actor=actor, now=now)  # fmt: skip


# ---- what goes out, and questions ----


def send_records(town: Town, monday: date) -> None:
    """What was asked for more than a week ago goes out; now and then one comes back, and goes by hand weeks later."""
    asked = Delivery.objects.filter(sent_at__isnull=True, not_needed=[], opened_at__lt=evening(monday - SENT_AFTER))
    for each in asked.select_related("visit__appliance__building").prefetch_related("sendings"):
        if not each.returned_why:
            _send(town, each, monday)
        elif each.sendings.latest("sent_at").sent_at < evening(monday - SENT_AGAIN_AFTER):
            _hand_over(town, each, monday)


def _send(town: Town, delivery: Delivery, monday: date) -> None:
    town.sent += 1
    by_post = town.sent % 4 == 0
    sent = send_delivery(
        delivery=delivery, version=delivery.version, how=Sending.How.POST if by_post else Sending.How.EMAIL,
        address=f"{delivery.recipient}, {delivery.visit.appliance.building.name}", sent_at=evening(monday, 11),
        proof="" if by_post else "read receipt", file=None, actor=town.dispatcher, now=evening(monday, 11),
    )  # fmt: skip
    # Of the last weeks one more, so that something waits again whenever this is loaded.
    late = monday + timedelta(days=28) > town.today and not town.returned_late
    if town.sent % RETURNED == 0 or late:
        town.returned_late = late
        why = "Came back: the address is no longer used."
        fail_delivery(delivery=sent, version=sent.version, why=why, actor=town.dispatcher, now=evening(monday, 16))


def _hand_over(town: Town, delivery: Delivery, monday: date) -> None:
    send_delivery(
        delivery=delivery, version=delivery.version, how=Sending.How.HAND, address=f"{delivery.recipient}, in person",
        sent_at=evening(monday, 17), proof="signed for", file=None, actor=town.dispatcher, now=evening(monday, 17),
    )  # fmt: skip


def hear_of_repairs(town: Town, monday: date) -> None:
    """What owners have repaired themselves is closed in the office, with what they said."""
    old = monday - timedelta(days=10)
    theirs = Defect.objects.filter(
        what=OWNERS, resolved_at__isnull=True, closed_by__isnull=True, visit__local_date__lt=old
    )
    for each in theirs:
        resolve_defect(defect=each, version=each.version, why="The owner's plumber fitted a new gauge; invoice seen.",
                      actor=town.dispatcher, now=evening(monday, 14))  # fmt: skip
        if life := town.lives.get(each.appliance_id):
            life.defects.clear()


def take_back(town: Town, monday: date, week: int) -> None:
    """Somebody is ill for a week: their booked days are taken back with the reason, and booked again."""
    if week not in ILL:
        return
    person = town.crew[ILL[week]].person
    of_the_week = Revisit.objects.filter(technician=person, day__gte=monday, day__lt=monday + timedelta(days=7))
    for each in of_the_week:
        release_day(revisit=each, version=each.version, note=f"{person.name} is ill.", actor=town.dispatcher,
                    now=evening(monday, 8))  # fmt: skip


def answer_questions(town: Town, monday: date) -> None:
    """Questions about visits of more than a month ago, each with its answer; the newest stay open."""
    old = evening(monday - timedelta(days=28))
    for each in Question.objects.filter(resolved_at__isnull=True, opened_at__lt=old):
        resolve_question(question=each, version=each.version, note="Looked at with the technician; the record stands.",
                    actor=town.dispatcher, now=evening(monday, 15))  # fmt: skip
