"""Who is to be told about a flag, who was told when and who is next; and what a daily summary has to say."""

from datetime import date, timedelta

from django.db.models import QuerySet

from fleet.assess.due.alerts import is_answered
from fleet.models import Alert, Job, OnCall, Role, User, Webhook
from fleet.models.access import may_change, may_see
from fleet.presentation import summary_items as items
from fleet.presentation.summary_items import SummaryItem
from fleet.queries.access import visible_clients
from fleet.queries.attention import attention_for
from fleet.queries.jobs import visible_jobs
from fleet.queries.records import unreadable_records
from fleet.queries.required_checks import dated_required_checks

DUE_SOON = timedelta(days=21)


def visible_alerts(viewer: User) -> QuerySet[Alert]:
    if not may_see(viewer, "alerts"):
        return Alert.objects.none()
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
    facts = attention_for(viewer, today, due_within=timedelta())
    near = dated_required_checks(viewer, today).filter(due__lte=today + DUE_SOON).order_by("due", "id")
    failed = visible_jobs(viewer).filter(state=Job.State.FAILED)
    return [
        *(items.stop_item(each, today) for each in facts.unsafe if not is_answered(each)),
        *(items.flag_item(row.flag) for row in (*facts.outside, *facts.drifting) if row.flag),
        *(items.late_visit(row.revisit) for row in facts.due if row.revisit and row.revisit.is_late(today)),
        *(items.expiring_item(each.what, each.subject, each.until, today) for each in facts.expiring),
        *map(items.late_delivery, facts.late_deliveries),
        *map(items.late_defect, facts.late_defects),
        *sorted((items.required_check_item(each, today) for each in near), key=lambda each: not each.is_late),
        *map(items.unreadable_item, unreadable_records(viewer).defer("body")),
        *map(items.failed_job, failed),
        *map(items.hook_off, switched_off_hooks(viewer)),
    ]


def switched_off_hooks(viewer: User) -> QuerySet[Webhook]:
    """Those that were switched off because nothing could be delivered."""
    off = Webhook.objects.filter(removed_at__isnull=True, is_on=False).exclude(switched_off_why=[])
    if not may_see(viewer, "webhooks"):
        return off.none()
    return off if viewer.sees_all_clients else off.filter(client__in=visible_clients(viewer))
