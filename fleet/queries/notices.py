"""Who is to be told about a flag, who was told when and who is next; and what a daily digest has to say."""

import hashlib
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _

from fleet.models import Flag, Job, NoticeChoice, OnCall, Role, Telling, User, WebHook
from fleet.queries.access import visible_clients
from fleet.queries.attention import Attention, attention_for
from fleet.queries.duties import dated_duties
from fleet.queries.jobs import visible_jobs
from fleet.queries.visits import held_messages

TOLD_ONE_BY_ONE = (Flag.Kind.UNSAFE, Flag.Kind.STOP)
OFFICE = (Role.DISPATCHER, Role.MANAGER)
AGAIN_AFTER = timedelta(minutes=15)
LONGEST_GAP = timedelta(hours=4)
DUE_SOON = timedelta(days=21)


# ---- who is to be told about a flag ----


@dataclass(frozen=True)
class Step:
    """Somebody, and how long after the first they are told in the first round."""

    user: User
    after: timedelta


def ladder_of(flag: Flag) -> list[Step]:
    """Those on the list of who is on call, in its order, the soonest of them at once, and a while after the last the
    managers who are not on it; without anybody on the list dispatchers and managers, all at once.

    Only people with an e-mail address who may see the client.
    """
    reachable = _reachable(flag)
    listed = list(OnCall.objects.filter(user__in=reachable).select_related("user"))
    if not listed:
        return [Step(each, timedelta()) for each in reachable.filter(role__in=OFFICE)]
    first = listed[0].after_minutes
    steps = [Step(each.user, timedelta(minutes=each.after_minutes - first)) for each in listed]
    others = reachable.filter(role=Role.MANAGER).exclude(id__in=[each.user_id for each in listed])
    return steps + [Step(each, steps[-1].after + AGAIN_AFTER) for each in others]


def _reachable(flag: Flag) -> QuerySet[User]:
    client = flag.appliance.building.client_id
    sees = Q(sees_all_clients=True) | Q(clients=client)
    return (
        User.objects.filter(sees, is_active=True).exclude(email="").exclude(role=Role.AUDITOR).distinct().order_by("id")
    )


def may_be_told(user: User, flag: Flag) -> bool:
    """Still active, with an address, and of those who may see the appliance."""
    return _reachable(flag).filter(id=user.id).exists()


def round_begins(steps: Sequence[Step], told_from: datetime, number: int) -> datetime:
    """When a round begins: the first at once, the next a while after the first has run through, each further one
    after twice the time, at most four hours."""
    if number == 0:
        return told_from
    begins = told_from + max((each.after for each in steps), default=timedelta()) + AGAIN_AFTER
    for gone in range(1, number):
        # From the fifth round on the gap is the longest one: a power of its number would leave the calendar.
        begins += min(AGAIN_AFTER * 2 ** min(gone, 5), LONGEST_GAP)
    return begins


def is_answered(flag: Flag) -> bool:
    """Somebody answers for it as it stands, or it is closed."""
    answered = flag.acknowledged_at is not None and flag.acknowledged_at >= flag.updated_at
    return flag.closed_at is not None or answered


def untold_flags() -> QuerySet[Flag]:
    """Open at stop level, nobody answers for them, and no telling is planned."""
    standing = Flag.objects.filter(kind__in=TOLD_ONE_BY_ONE, closed_at__isnull=True, acknowledged_at__isnull=True)
    planned = Telling.objects.filter(sent_at__isnull=True, not_needed="").values("flag")
    return standing.exclude(id__in=planned)


# ---- who was told when, and who is next ----


@dataclass(frozen=True)
class ToldAbout:
    """told: sent, newest last; failing: tried in vain, not sent yet; following: planned, soonest first.

    nobody: it is to be told at once, and there is nobody who can be.
    """

    told: tuple[Telling, ...]
    failing: tuple[Telling, ...]
    following: tuple[Telling, ...]
    nobody: bool


def told_about(flags: Iterable[Flag]) -> dict[uuid.UUID, ToldAbout]:
    """For each flag that is told one by one: who was told when and who is next. The flags are what a viewer sees."""
    asked = [each for each in flags if each.kind in TOLD_ONE_BY_ONE]
    kept: dict[uuid.UUID, list[Telling]] = {each.id: [] for each in asked}
    for telling in Telling.objects.filter(flag__in=kept, not_needed="").select_related("user"):
        kept[telling.flag_id].append(telling)
    untold = [each for each in asked if not (is_answered(each) or any(one.sent_at for one in kept[each.id]))]
    nobody = _without_anybody(untold)
    return {each.id: _told(each, kept[each.id], each.id in nobody) for each in asked}


def _without_anybody(flags: Sequence[Flag]) -> set[uuid.UUID]:
    """Of these flags the ones that nobody can be told about; two queries for all of them."""
    if not flags:
        return set()
    known = User.objects.filter(Q(role__in=OFFICE) | Q(on_call__isnull=False), is_active=True)
    known = known.exclude(email="").exclude(role=Role.AUDITOR)
    if known.filter(sees_all_clients=True).exists():
        return set()
    seen = set(known.filter(clients__isnull=False).values_list("clients", flat=True))
    return {each.id for each in flags if each.appliance.building.client_id not in seen}


def _told(flag: Flag, tellings: list[Telling], nobody: bool) -> ToldAbout:
    sent = sorted((each for each in tellings if each.sent_at), key=lambda each: (each.sent_at, each.id))
    waiting = [] if is_answered(flag) else [each for each in tellings if each.sent_at is None]
    return ToldAbout(
        told=tuple(sent),
        failing=tuple(each for each in waiting if each.tries),
        following=tuple(each for each in waiting if not each.tries),
        nobody=nobody,
    )


def visible_tellings(viewer: User) -> QuerySet[Telling]:
    mine = Telling.objects.filter(flag__appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("user")


def on_call_list(viewer: User) -> QuerySet[OnCall]:
    """The list, for the office and whoever is on it."""
    known = OnCall.objects.select_related("user")
    if not viewer.is_active or viewer.role == Role.AUDITOR:
        return known.none()
    return known if viewer.role in OFFICE else known.filter(user=viewer)


def may_be_on_call(viewer: User) -> QuerySet[User]:
    """Whom a manager may put on the list."""
    if viewer.role != Role.MANAGER:
        return User.objects.none()
    return User.objects.filter(is_active=True).exclude(role=Role.AUDITOR).order_by("last_name", "username", "id")


# ---- the daily digest ----


@dataclass(frozen=True)
class DigestItem:
    """One thing that stands. mark: changes when there is something new to say about it; path: where it is shown."""

    section: str
    sentence: str
    path: str
    mark: str


def choice_of(user: User) -> NoticeChoice:
    """How they want the digest; unsaved where they never chose."""
    return NoticeChoice.objects.filter(user=user).first() or NoticeChoice(user=user)


def digest_readers() -> QuerySet[User]:
    """Dispatchers and managers with an address who have not opted out."""
    office = User.objects.filter(is_active=True, role__in=OFFICE).exclude(email="")
    return office.exclude(notice_choice__digest=False).select_related("notice_choice").order_by("id")


def digest_items(viewer: User, today: date) -> list[DigestItem]:
    """Everything that stands for this viewer, by section, gravest first: what is new in it is for the caller to say."""
    return [*_flags_and_revisits(viewer, today), *_duties(viewer, today), *_house(viewer)]


def _flags_and_revisits(viewer: User, today: date) -> list[DigestItem]:
    facts = attention_for(viewer, today, due_within=timedelta())
    home = reverse("attention")
    items = [
        _item(_("Still open at stop level"), each, f"{home}#flag-{each.id}", (each.id, today))
        for each in facts.unsafe
        if not is_answered(each)
    ]
    for section, rows in ((_("Outside a limit"), facts.outside), (_("Likely to be outside"), facts.drifting)):
        items += [
            _item(section, row.flag, reverse("appliance", args=[row.flag.appliance_id]), (row.flag.id, ""))
            for row in rows
            if row.flag
        ]
    for row in facts.due:
        if row.revisit and row.revisit.latest < today:
            place = f"{row.revisit.appliance.name}, {row.revisit.appliance.building.name}"
            said = _("%(place)s was to be seen by %(day)s.") % {"place": place, "day": row.revisit.latest.isoformat()}
            path = reverse("appliance", args=[row.revisit.appliance_id])
            items.append(DigestItem(_("Overdue"), said, path, _mark("late", row.revisit.id, row.revisit.latest)))
    for each in facts.running_out:
        kind = _("Calibration") if each.what == "calibration" else _("Qualification")
        said = _("%(kind)s of %(name)s: %(until)s.") % {
            "kind": kind,
            "name": each.subject.name,
            "until": _("until %s") % each.until.isoformat() if each.until else _("never had one"),
        }
        gone = each.until is not None and each.until < today
        mark = _mark("paper", each.subject.id, each.until, gone)
        items.append(DigestItem(_("Running out"), said, reverse("records"), mark))
    return [*items, *_late(facts)]


def _late(facts: Attention) -> list[DigestItem]:
    """Records not delivered and defects not mended by their day."""
    items = []
    for each in facts.late_deliveries:
        said = _("%(place)s: the record was to reach %(to)s by %(day)s.") % {
            "place": f"{each.visit.appliance.name}, {each.visit.appliance.building.name}",
            "to": each.recipient,
            "day": each.due.isoformat(),
        }
        items.append(DigestItem(_("Overdue"), said, reverse("deliveries"), _mark("delivery", each.id, each.due)))
    for defect in facts.late_defects:
        said = _("%(place)s: %(what)s, to be mended by %(day)s.") % {
            "place": f"{defect.appliance.name}, {defect.appliance.building.name}",
            "what": defect.what,
            "day": f"{defect.due}",
        }
        items.append(DigestItem(_("Overdue"), said, reverse("defects"), _mark("defect", defect.id, defect.due)))
    return items


def _item(section: str, flag: Flag, path: str, named: tuple[object, object]) -> DigestItem:
    place = f"{flag.appliance.name}, {flag.appliance.building.name}"
    return DigestItem(section, f"{place}: {flag.sentence}", path, _mark("flag", *named))


def _duties(viewer: User, today: date) -> list[DigestItem]:
    items = []
    near = dated_duties(viewer, today).filter(due__lte=today + DUE_SOON).order_by("due", "id")
    for duty in near:
        late = duty.due is not None and duty.due < today
        words = _("%(place)s: %(name)s was due on %(day)s.") if late else _("%(place)s: %(name)s is due on %(day)s.")
        place = f"{duty.appliance.name}, {duty.appliance.building.name}"
        said = words % {"place": place, "name": duty.name, "day": duty.due}
        path = reverse("appliance", args=[duty.appliance_id])
        section = _("Duties overdue") if late else _("Duties due within three weeks")
        items.append(DigestItem(section, said, path, _mark("duty", duty.id, duty.due, late)))
    return sorted(items, key=lambda each: each.section != _("Duties overdue"))


def _house(viewer: User) -> list[DigestItem]:
    kept, given_up, off = _("Messages kept for mending"), _("Background work given up"), _("Web-hooks switched off")
    held = [
        DigestItem(kept, _("One of %s could not be read.") % f"{each.received_at:%Y-%m-%d}",
                   f"{reverse('records')}#held", _mark("held", each.id))
        for each in held_messages(viewer).defer("body")
    ]  # fmt: skip
    dead = [
        DigestItem(given_up, _("%(kind)s, after %(tries)d tries.") % {"kind": each.kind, "tries": each.tries},
                   reverse("attention"), _mark("job", each.id, each.tries, each.finished_at))
        for each in visible_jobs(viewer).filter(state=Job.State.DEAD)
    ]  # fmt: skip
    hooks = [
        DigestItem(off, f"{each.name}: {each.switched_off_why}", reverse("web-hooks"),
                   _mark("hook", each.id, each.version))
        for each in switched_off_hooks(viewer)
    ]  # fmt: skip
    return [*held, *dead, *hooks]


def switched_off_hooks(viewer: User) -> QuerySet[WebHook]:
    """Those that were switched off because nothing could be delivered."""
    off = WebHook.objects.filter(removed_at__isnull=True, is_on=False).exclude(switched_off_why="")
    if viewer.role != Role.MANAGER:
        return off.none()
    return off if viewer.sees_all_clients else off.filter(client__in=visible_clients(viewer))


def _mark(*named: object) -> str:
    """Twelve figures that stand for one thing in one state."""
    return hashlib.sha256("/".join(str(each) for each in named).encode()).hexdigest()[:12]
