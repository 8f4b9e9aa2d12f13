"""Which duties appliances are under, which a limit set puts on them, and which of these are missing."""

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from fleet.assess.appliances import with_places
from fleet.assess.due.set_rules import SetRule, set_rules
from fleet.models import Appliance, Building, Duty, LimitSetAttachment, LimitSetVersion
from fleet.models.appliances import not_gone
from fleet.models.duties import ENDED_BY_HAND


def standing_of(appliance: Appliance) -> QuerySet[Duty]:
    """Its duties that have not ended."""
    return Duty.objects.filter(appliance=appliance, until__isnull=True)


def own_duties(appliance: Appliance) -> QuerySet[Duty]:
    """Its contract's and maker's duties that stand: those that no limit set puts on it."""
    return standing_of(appliance).filter(attachment__isnull=True, source__in=("contract", "maker"))


def in_force_on(duties: Iterable[Duty], days: dict[uuid.UUID, date]) -> list[tuple[Duty, date]]:
    """The duties that stood on their appliance's day, each with it."""
    dated = ((each, days[each.appliance_id]) for each in duties)
    return [(each, day) for each, day in dated if each.since <= day and (each.until is None or each.until >= day)]


def duties_of(appliance_ids: Iterable[uuid.UUID]) -> QuerySet[Duty]:
    """All duties that these appliances are or were under, with the facts that their rules ask for."""
    related = Duty.objects.filter(appliance__in=set(appliance_ids)).select_related(
        "appliance__building__client", "appliance__sheet"
    )
    return related.prefetch_related("appliance__sheet__versions", "appliance__building__gas_supplies")


def with_facts(duties: QuerySet[Duty]) -> list[Duty]:
    """The same of many duties at once: a query a table, and what many appliances have in common made once."""
    found = list(duties)
    return _each_with(found, with_places(Appliance.objects.filter(id__in={each.appliance_id for each in found})))


def duties_standing(appliances: Iterable[Appliance]) -> list[Duty]:
    """Those of these appliances that have not ended, each with the appliance as given: nothing of it is read again."""
    known = list(appliances)
    standing = Duty.objects.filter(appliance__in=[each.id for each in known], until__isnull=True)
    return _each_with(list(standing), known)


def _each_with(duties: list[Duty], appliances: Iterable[Appliance]) -> list[Duty]:
    known = {each.id: each for each in appliances}
    for duty in duties:
        duty.appliance = known[duty.appliance_id]
    return duties


def appliances_reached(attachment: LimitSetAttachment, day: date) -> QuerySet[Appliance]:
    """In the attachment's place, and not gone on this day."""
    known = Appliance.objects.filter(not_gone(day))
    if attachment.appliance_id:
        return known.filter(id=attachment.appliance_id)
    if attachment.building_id:
        return known.filter(building=attachment.building_id)
    return known.filter(building__client=attachment.client_id)


def day_at(attachment: LimitSetAttachment, now: datetime) -> date:
    """The day that it is in the attachment's place: of a client's buildings the earliest, without any the office's."""
    if building := attachment.building or (attachment.appliance and attachment.appliance.building):
        return building.today(now)
    zones = Building.objects.filter(client=attachment.client_id).order_by().values_list("time_zone", flat=True)
    days = (now.astimezone(ZoneInfo(each)).date() for each in set(zones))
    return min(days, default=timezone.localtime(now).date())


# From an attachment to the appliances that it reaches, by its place.
REACHED = ("appliance", "building__appliances", "client__buildings__appliances")


@dataclass(frozen=True)
class Missing:
    """The rule of the set attached there asks for a duty of this appliance, and none stands."""

    attachment_id: uuid.UUID
    appliance_id: uuid.UUID
    rule: SetRule


def missing_duties(*, now: datetime) -> list[Missing]:
    """Of all attachments that stand and all appliances that may not have left; what a person ended is not missing."""
    by_part: dict[str, dict[uuid.UUID, SetRule]] = defaultdict(dict)
    for version in _newest_attached():
        for rule in set_rules(version.limit_set, version.content):
            by_part[rule.part][version.limit_set_id] = rule
    return [
        Missing(attachment_id, appliance_id, rules[limit_set_id])
        for part, rules in by_part.items()
        for path in REACHED
        for attachment_id, limit_set_id, appliance_id in _without(part, rules, path, now)
    ]


def _newest_attached() -> list[LimitSetVersion]:
    """The newest version of each set that applies somewhere."""
    attached = LimitSetAttachment.objects.filter(until__isnull=True)
    newest = LimitSetVersion.objects.filter(limit_set=OuterRef("limit_set")).order_by("-number").values("id")[:1]
    known = LimitSetVersion.objects.filter(id=Subquery(newest), limit_set__in=attached.values("limit_set"))
    return list(known.select_related("limit_set"))


def _without(
    part: str, rules: dict[uuid.UUID, SetRule], path: str, now: datetime
) -> list[tuple[uuid.UUID, uuid.UUID, uuid.UUID]]:
    """Attachment, its set, and an appliance that has no duty of this part by it."""
    earliest_anywhere = now.date() - timedelta(days=1)
    attached = LimitSetAttachment.objects.filter(
        not_gone(earliest_anywhere, f"{path}__"), **{f"{path}__isnull": False}, until__isnull=True, limit_set__in=rules
    ).annotate(reached=F(path))
    stands = Q(until__isnull=True) | Q(ended_why__in=(ENDED_BY_HAND, ""))  # no word of why is from before it was kept
    there = Duty.objects.filter(stands, attachment=OuterRef("id"), appliance=OuterRef("reached"), part=part)
    found = attached.filter(~Exists(there)).order_by("id", "reached")
    return list(found.values_list("id", "limit_set_id", "reached"))
