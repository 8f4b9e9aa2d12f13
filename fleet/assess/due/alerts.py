"""Who is to be told about a flag at stop level, who was told when and who is next; and who reads the daily summary."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet

from fleet.models import Alert, AlertSettings, Flag, OnCall, Role, User
from fleet.models.access import ACCESS, OFFICE

ALERTED_ONE_BY_ONE = (Flag.Kind.UNSAFE, Flag.Kind.STOP)
REACHED = ACCESS["own_alerts"].see
AGAIN_AFTER = timedelta(minutes=15)
LONGEST_GAP = timedelta(hours=4)


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
    return User.objects.filter(sees, is_active=True, role__in=REACHED).exclude(email="").distinct().order_by("id")


def may_be_alerted(user: User, flag: Flag) -> bool:
    """Still active, with an address, and of those who may see the appliance."""
    return _reachable(flag).filter(id=user.id).exists()


def round_begins(steps: Sequence[Step], alerted_from: datetime, number: int) -> datetime:
    """When a round begins: the first at once, the next a while after the first has run through, each further one
    after twice the time, at most four hours."""
    if number == 0:
        return alerted_from
    begins = alerted_from + max((each.after for each in steps), default=timedelta()) + AGAIN_AFTER
    for gone in range(1, number):
        # From the fifth round on the gap is the longest one: a power of its number would leave the calendar.
        begins += min(AGAIN_AFTER * 2 ** min(gone, 5), LONGEST_GAP)
    return begins


def is_answered(flag: Flag) -> bool:
    """Somebody answers for it as it stands, or it is closed."""
    answered = flag.acknowledged_at is not None and flag.acknowledged_at >= flag.updated_at
    return flag.closed_at is not None or answered


def unalerted_flags() -> QuerySet[Flag]:
    """Open at stop level, nobody answers for them, and no alert is planned."""
    standing = Flag.objects.filter(kind__in=ALERTED_ONE_BY_ONE, closed_at__isnull=True, acknowledged_at__isnull=True)
    planned = Alert.objects.filter(sent_at__isnull=True, not_needed="").values("flag")
    return standing.exclude(id__in=planned)


# ---- who was told when, and who is next ----


@dataclass(frozen=True)
class AlertedAbout:
    """told: sent, newest last; failing: tried in vain, not sent yet; following: planned, soonest first.

    nobody: it is to be told at once, and there is nobody who can be.
    """

    told: tuple[Alert, ...]
    failing: tuple[Alert, ...]
    following: tuple[Alert, ...]
    nobody: bool


def alerted_about(flags: Iterable[Flag]) -> dict[uuid.UUID, AlertedAbout]:
    """For each flag that is told one by one: who was told when and who is next. The flags are what a viewer sees."""
    asked = [each for each in flags if each.kind in ALERTED_ONE_BY_ONE]
    kept: dict[uuid.UUID, list[Alert]] = {each.id: [] for each in asked}
    for alert in Alert.objects.filter(flag__in=kept, not_needed="").select_related("user"):
        kept[alert.flag_id].append(alert)
    untold = [each for each in asked if not (is_answered(each) or any(one.sent_at for one in kept[each.id]))]
    nobody = _without_anybody(untold)
    return {each.id: _told(each, kept[each.id], each.id in nobody) for each in asked}


def _without_anybody(flags: Sequence[Flag]) -> set[uuid.UUID]:
    """Of these flags the ones that nobody can be told about; two queries for all of them."""
    if not flags:
        return set()
    known = User.objects.filter(Q(role__in=OFFICE) | Q(on_call__isnull=False), is_active=True)
    known = known.exclude(email="").filter(role__in=REACHED)
    if known.filter(sees_all_clients=True).exists():
        return set()
    seen = set(known.filter(clients__isnull=False).values_list("clients", flat=True))
    return {each.id for each in flags if each.appliance.building.client_id not in seen}


def _told(flag: Flag, alerts: list[Alert], nobody: bool) -> AlertedAbout:
    sent = sorted((each for each in alerts if each.sent_at), key=lambda each: (each.sent_at, each.id))
    waiting = [] if is_answered(flag) else [each for each in alerts if each.sent_at is None]
    return AlertedAbout(
        told=tuple(sent),
        failing=tuple(each for each in waiting if each.tries),
        following=tuple(each for each in waiting if not each.tries),
        nobody=nobody,
    )


def alert_settings_of(user: User) -> AlertSettings:
    """How they want the daily summary; unsaved where they never chose."""
    return AlertSettings.objects.filter(user=user).first() or AlertSettings(user=user)


def summary_readers() -> QuerySet[User]:
    """Dispatchers and managers with an address who have not opted out."""
    office = User.objects.filter(is_active=True, role__in=ACCESS["daily_summary"].see).exclude(email="")
    return office.exclude(alert_settings__daily_summary=False).select_related("alert_settings").order_by("id")


def present_round(flag: Flag, now: datetime) -> int:
    """The last round that has begun."""
    steps = ladder_of(flag)
    number = 0
    while round_begins(steps, flag.updated_at, number + 1) <= now:
        number += 1
    return number
