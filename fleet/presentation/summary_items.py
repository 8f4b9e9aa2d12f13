"""What a daily summary says of each thing that stands, and the mark by which it is known whether it is new."""

import hashlib
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from fleet.models import (
    Analyser,
    Appliance,
    Defect,
    Delivery,
    Flag,
    Job,
    Person,
    RequiredCheck,
    Revisit,
    UnreadableRecord,
    Webhook,
)
from fleet.presentation import addresses
from fleet.presentation.codes import job_words
from fleet.presentation.days import long_day
from fleet.presentation.follow_ups import flag_words
from fleet.presentation.webhooks import failure_words


@dataclass(frozen=True)
class SummaryItem:
    """One thing that stands. mark: changes when there is something new to say about it; path: where it is shown."""

    section: str
    sentence: str
    path: str
    mark: str
    is_late: bool = False


def stop_item(flag: Flag, today: date) -> SummaryItem:
    """One that nobody answers for is new every day."""
    return _flag(_("Still open at stop level"), flag, addresses.attention_page(flag.id), today)


def flag_item(flag: Flag) -> SummaryItem:
    section = _("May be outside") if flag.kind == Flag.Kind.DRIFT else _("Outside a limit")
    return _flag(section, flag, addresses.appliance_page(flag.appliance_id), "")


def _flag(section: str, flag: Flag, path: str, state: object) -> SummaryItem:
    return SummaryItem(section, f"{_place(flag.appliance)}: {flag_words(flag)}", path, _mark("flag", flag.id, state))


def late_visit(revisit: Revisit) -> SummaryItem:
    shown = {"place": _place(revisit.appliance), "day": long_day(revisit.latest)}
    said = _("%(place)s was to be seen by %(day)s.") % shown
    path = addresses.appliance_page(revisit.appliance_id)
    return SummaryItem(_("Overdue"), said, path, _mark("late", revisit.id, revisit.latest))


def expiring_item(what: str, subject: Analyser | Person, until: date | None, today: date) -> SummaryItem:
    """A calibration's or a qualification's; new once more when its last day has passed."""
    said = _("%(kind)s of %(name)s: %(until)s.") % {
        "kind": _("Calibration") if what == "calibration" else _("Qualification"),
        "name": subject.name,
        "until": _("until %s") % long_day(until) if until else _("never had one"),
    }
    mark = _mark("paper", subject.id, until, until is not None and until < today)
    return SummaryItem(_("Expiring"), said, addresses.records_page(), mark)


def late_delivery(delivery: Delivery) -> SummaryItem:
    shown = {"place": _place(delivery.visit.appliance), "to": delivery.recipient, "day": long_day(delivery.due)}
    said = _("%(place)s: the record was to reach %(to)s by %(day)s.") % shown
    mark = _mark("delivery", delivery.id, delivery.due)
    return SummaryItem(_("Overdue"), said, addresses.deliveries_page(), mark)


def late_defect(defect: Defect) -> SummaryItem:
    day = long_day(defect.due) if defect.due else ""
    shown = {"place": _place(defect.appliance), "what": defect.what, "day": day}
    said = _("%(place)s: %(what)s, to be repaired by %(day)s.") % shown
    return SummaryItem(_("Overdue"), said, addresses.defects_page(), _mark("defect", defect.id, defect.due))


def required_check_item(required_check: RequiredCheck, today: date) -> SummaryItem:
    """Of one whose date is certain."""
    due, appliance = required_check.due, required_check.appliance
    late = due is not None and due < today
    section = _("Required checks overdue") if late else _("Required checks due within three weeks")
    words = _("%(place)s: %(name)s was due on %(day)s.") if late else _("%(place)s: %(name)s is due on %(day)s.")
    said = words % {"place": _place(appliance), "name": required_check.name, "day": long_day(due) if due else ""}
    mark = _mark("required_check", required_check.id, due, late)
    return SummaryItem(section, said, addresses.appliance_page(appliance.id), mark, is_late=late)


def unreadable_item(record: UnreadableRecord) -> SummaryItem:
    said = _("One of %s could not be read.") % long_day(record.received_at.date())
    return SummaryItem(
        _("Messages kept to be corrected"), said, addresses.records_page("unreadable"), _mark("unreadable", record.id)
    )


def failed_job(job: Job) -> SummaryItem:
    said = _("%(kind)s, after %(tries)d tries.") % {"kind": job_words(job.kind), "tries": job.tries}
    mark = _mark("job", job.id, job.tries, job.finished_at)
    return SummaryItem(_("Background work that failed"), said, addresses.attention_page(), mark)


def hook_off(hook: Webhook) -> SummaryItem:
    said = f"{hook.name}: {failure_words(hook.switched_off_why)}"
    mark = _mark("hook", hook.id, hook.version)
    return SummaryItem(_("Webhooks switched off"), said, addresses.webhooks_page(), mark)


def _place(appliance: Appliance) -> str:
    return f"{appliance.name}, {appliance.building.name}"


def _mark(*named: object) -> str:
    """Twelve figures that stand for one thing in one state."""
    return hashlib.sha256("/".join(str(each) for each in named).encode()).hexdigest()[:12]
