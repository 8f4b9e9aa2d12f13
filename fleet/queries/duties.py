"""Duties as a viewer may see them, and when each falls due by the checks on record up to a day."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from fleet.intervals import Due, next_due
from fleet.models import Duty, User
from fleet.queries.access import visible_clients
from fleet.queries.appliances import facts_of, not_gone
from fleet.queries.checks import Check, checks_of, doubts_about


def visible_duties(viewer: User) -> QuerySet[Duty]:
    mine = Duty.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building", "decided_by")


def standing_duties(viewer: User, day: date) -> QuerySet[Duty]:
    """Those that have not ended, of appliances that have not left, with the client they are for."""
    standing = visible_duties(viewer).filter(not_gone(day, "appliance__"), until__isnull=True)
    return standing.select_related("appliance__building__client", "decided_by")


def dated_duties(viewer: User, day: date) -> QuerySet[Duty]:
    """Standing duties whose date is certain: only these can be late."""
    return standing_duties(viewer, day).filter(due__isnull=False, cannot_tell="")


def undecided_duties(viewer: User, day: date) -> QuerySet[Duty]:
    """Standing duties whose date rests on a fact that nobody has recorded."""
    return standing_duties(viewer, day).exclude(cannot_tell="")


# ---- when a duty falls due ----


@dataclass(frozen=True)
class Reckoned:
    """A duty as it stood on a day: when it was due by the checks up to then, and the check it counted from.

    no_evidence: why the record of that check is no evidence; empty where it is, or where there is no check.
    """

    duty: Duty
    due: Due
    last: Check | None
    no_evidence: tuple[str, ...]

    @property
    def doubt(self) -> str:
        """Said beside the date: it counts from a check, but the record of that check proves nothing."""
        why = " ".join(self.no_evidence)
        return _("Counts from a record that is no evidence: %s") % why if why else ""

    @property
    def words(self) -> str:
        return " ".join(filter(None, (self.due.words, self.doubt)))[:1000]

    @property
    def undecided(self) -> str:
        """Where a fact is missing: the earliest day it can be, and which fact; empty where the date is certain."""
        return undecided_words(self.duty.name, self.due.due, self.due.cannot_tell)


def undecided_words(name: str, due: date | None, cannot_tell: str) -> str:
    """How a duty is told whose date is not certain; empty where it is."""
    if not cannot_tell:
        return ""
    if due is None:
        return _("%(name)s: no date; %(why)s") % {"name": name, "why": cannot_tell}
    return _("%(name)s: as early as %(day)s; %(why)s") % {"name": name, "day": f"{due:%Y-%m-%d}", "why": cannot_tell}


def reckon(days: Iterable[tuple[Duty, date]]) -> list[Reckoned]:
    """Each duty as of its day. Visits, and the register behind them, are read for all of them at once."""
    asked = list(days)
    if not asked:
        return []
    checks = checks_of({duty.appliance_id for duty, _day in asked}, max(day for _duty, day in asked))
    made = [_reckon(duty, day, checks.get(duty.appliance_id, ())) for duty, day in asked]
    doubts = doubts_about(each.last.visit_id for each in made if each.last)
    return [replace(each, no_evidence=doubts[each.last.visit_id]) if each.last else each for each in made]


def _reckon(duty: Duty, day: date, checks: Sequence[Check]) -> Reckoned:
    made = [each for each in checks if each.day <= day]
    return Reckoned(duty, _due(duty, sorted({each.day for each in made}), day), made[-1] if made else None, ())


def _due(duty: Duty, history: list[date], day: date) -> Due:
    """By the checks; with none on record from the first check after coming into service, if that lay in the duty.

    An appliance that was long in service when its duty began was not commissioned on that day: its first check lies
    before the duty, and the rule runs on from the duty's beginning.
    """
    came, facts, rule = duty.appliance.in_service_from, facts_of(duty.appliance, day), duty.rule
    if not history and "first" in rule:
        first = next_due(rule, [], start=came, today=day, facts=facts)
        if first.due is None or first.due >= duty.since:
            return first
        rule = {name: value for name, value in rule.items() if name != "first"}
    return next_due(rule, history, start=max(duty.since, came), today=day, facts=facts)


def in_force_on(duties: Iterable[Duty], days: dict[uuid.UUID, date]) -> list[tuple[Duty, date]]:
    """The duties that stood on their appliance's day, each with it."""
    dated = ((each, days[each.appliance_id]) for each in duties)
    return [(each, day) for each, day in dated if each.since <= day and (each.until is None or each.until >= day)]


def duties_of(appliance_ids: Iterable[uuid.UUID]) -> QuerySet[Duty]:
    """All duties that these appliances are or were under, with the facts that their rules ask for."""
    related = Duty.objects.filter(appliance__in=set(appliance_ids)).select_related(
        "appliance__building", "appliance__sheet"
    )
    return related.prefetch_related("appliance__sheet__versions", "appliance__building__gas_supplies")
