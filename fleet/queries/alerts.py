"""Who is to be told about a flag, who was told when and who is next; and what a daily summary has to say."""

import hashlib
from datetime import date, timedelta

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from fleet.assess.due.alerts import is_answered
from fleet.models import Alert, Flag, Job, OnCall, Role, User, Webhook
from fleet.models.roles import may_change, may_see
from fleet.presentation import addresses
from fleet.presentation.alerts import SummaryItem
from fleet.presentation.follow_ups import flag_words
from fleet.queries.access import visible_clients
from fleet.queries.attention import Attention, attention_for
from fleet.queries.jobs import visible_jobs
from fleet.queries.records import unreadable_records
from fleet.queries.required_checks import dated_required_checks

DUE_SOON = timedelta(days=21)


def visible_alerts(viewer: User) -> QuerySet[Alert]:
    mine = Alert.objects.filter(flag__appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("user")


def on_call_list(viewer: User) -> QuerySet[OnCall]:
    """The list, for the office and whoever is on it."""
    known = OnCall.objects.select_related("user")
    if not may_see(viewer, "own_alerts"):
        return known.none()
    return known if may_see(viewer, "on_call") else known.filter(user=viewer)


def may_be_on_call(viewer: User) -> QuerySet[User]:
    """Whom a manager may put on the list."""
    if not may_change(viewer, "on_call"):
        return User.objects.none()
    return User.objects.filter(is_active=True).exclude(role=Role.AUDITOR).order_by("last_name", "username", "id")


def summary_items(viewer: User, today: date) -> list[SummaryItem]:
    """Everything that stands for this viewer, by section, gravest first: what is new in it is for the caller to say."""
    return [*_flags_and_revisits(viewer, today), *_required_checks(viewer, today), *_house(viewer)]


def _flags_and_revisits(viewer: User, today: date) -> list[SummaryItem]:
    facts = attention_for(viewer, today, due_within=timedelta())
    items = [
        _item(_("Still open at stop level"), each, addresses.attention_page(each.id), (each.id, today))
        for each in facts.unsafe
        if not is_answered(each)
    ]
    for section, rows in ((_("Outside a limit"), facts.outside), (_("May be outside"), facts.drifting)):
        items += [
            _item(section, row.flag, addresses.appliance_page(row.flag.appliance_id), (row.flag.id, ""))
            for row in rows
            if row.flag
        ]
    for row in facts.due:
        if row.revisit and row.revisit.latest < today:
            place = f"{row.revisit.appliance.name}, {row.revisit.appliance.building.name}"
            said = _("%(place)s was to be seen by %(day)s.") % {"place": place, "day": row.revisit.latest.isoformat()}
            path = addresses.appliance_page(row.revisit.appliance_id)
            items.append(SummaryItem(_("Overdue"), said, path, _mark("late", row.revisit.id, row.revisit.latest)))
    for each in facts.expiring:
        kind = _("Calibration") if each.what == "calibration" else _("Qualification")
        said = _("%(kind)s of %(name)s: %(until)s.") % {
            "kind": kind,
            "name": each.subject.name,
            "until": _("until %s") % each.until.isoformat() if each.until else _("never had one"),
        }
        gone = each.until is not None and each.until < today
        mark = _mark("paper", each.subject.id, each.until, gone)
        items.append(SummaryItem(_("Expiring"), said, addresses.records_page(), mark))
    return [*items, *_late(facts)]


def _late(facts: Attention) -> list[SummaryItem]:
    """Records not delivered and defects not repaired by their day."""
    items = []
    for each in facts.late_deliveries:
        said = _("%(place)s: the record was to reach %(to)s by %(day)s.") % {
            "place": f"{each.visit.appliance.name}, {each.visit.appliance.building.name}",
            "to": each.recipient,
            "day": each.due.isoformat(),
        }
        items.append(SummaryItem(_("Overdue"), said, addresses.deliveries_page(), _mark("delivery", each.id, each.due)))
    for defect in facts.late_defects:
        said = _("%(place)s: %(what)s, to be repaired by %(day)s.") % {
            "place": f"{defect.appliance.name}, {defect.appliance.building.name}",
            "what": defect.what,
            "day": f"{defect.due}",
        }
        items.append(SummaryItem(_("Overdue"), said, addresses.defects_page(), _mark("defect", defect.id, defect.due)))
    return items


def _item(section: str, flag: Flag, path: str, named: tuple[object, object]) -> SummaryItem:
    place = f"{flag.appliance.name}, {flag.appliance.building.name}"
    return SummaryItem(section, f"{place}: {flag_words(flag)}", path, _mark("flag", *named))


def _required_checks(viewer: User, today: date) -> list[SummaryItem]:
    items = []
    near = dated_required_checks(viewer, today).filter(due__lte=today + DUE_SOON).order_by("due", "id")
    for required_check in near:
        late = required_check.due is not None and required_check.due < today
        words = _("%(place)s: %(name)s was due on %(day)s.") if late else _("%(place)s: %(name)s is due on %(day)s.")
        place = f"{required_check.appliance.name}, {required_check.appliance.building.name}"
        said = words % {"place": place, "name": required_check.name, "day": required_check.due}
        path = addresses.appliance_page(required_check.appliance_id)
        section = _("Required checks overdue") if late else _("Required checks due within three weeks")
        items.append(
            SummaryItem(section, said, path, _mark("required_check", required_check.id, required_check.due, late))
        )
    return sorted(items, key=lambda each: each.section != _("Required checks overdue"))


def _house(viewer: User) -> list[SummaryItem]:
    kept, given_up, off = _("Messages kept to be corrected"), _("Background work given up"), _("Webhooks switched off")
    held = [
        SummaryItem(kept, _("One of %s could not be read.") % f"{each.received_at:%Y-%m-%d}",
                   addresses.records_page("held"), _mark("held", each.id))
        for each in unreadable_records(viewer).defer("body")
    ]  # fmt: skip
    dead = [
        SummaryItem(given_up, _("%(kind)s, after %(tries)d tries.") % {"kind": each.kind, "tries": each.tries},
                   addresses.attention_page(), _mark("job", each.id, each.tries, each.finished_at))
        for each in visible_jobs(viewer).filter(state=Job.State.FAILED)
    ]  # fmt: skip
    hooks = [
        SummaryItem(off, f"{each.name}: {each.switched_off_why}", addresses.webhooks_page(),
                   _mark("hook", each.id, each.version))
        for each in switched_off_hooks(viewer)
    ]  # fmt: skip
    return [*held, *dead, *hooks]


def switched_off_hooks(viewer: User) -> QuerySet[Webhook]:
    """Those that were switched off because nothing could be delivered."""
    off = Webhook.objects.filter(removed_at__isnull=True, is_on=False).exclude(switched_off_why="")
    if not may_see(viewer, "webhooks"):
        return off.none()
    return off if viewer.sees_all_clients else off.filter(client__in=visible_clients(viewer))


def _mark(*named: object) -> str:
    """Twelve figures that stand for one thing in one state."""
    return hashlib.sha256("/".join(str(each) for each in named).encode()).hexdigest()[:12]
