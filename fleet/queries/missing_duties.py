"""Duties that a set puts on an appliance and that are not there.

A set and an appliance that come at the same moment don't see each other; nor does a set whose rules were fewer when it
was attached. Asked for all sets at once: the statements grow with the parts that sets have, never with the appliances.
"""

import uuid
from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Exists, F, OuterRef, Q, Subquery

from fleet.models import Duty, LimitSetAttachment, LimitSetVersion
from fleet.models.duties import ENDED_BY_HAND
from fleet.queries.appliances import not_gone
from fleet.queries.set_rules import SetRule, set_rules

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
