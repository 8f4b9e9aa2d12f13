"""Defects: by when each is to be mended, and one settled by a named person with a reason."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import F
from django.utils.translation import gettext as _

from fleet.errors import Conflict, FleetError
from fleet.intervals.dates import spoken
from fleet.models import Contractor, Defect, LimitSetVersion, User
from fleet.models.defects import STILL_OPEN
from fleet.services import jobs
from fleet.services.set_clocks import mend_days


def date_defects(*, defects: Iterable[Defect], versions: Sequence[LimitSetVersion], contractor: Contractor) -> None:
    """The last day of each of a visit's defects, and how it comes about; stored where it changed.

    versions: of the sets by which the visit was judged, each with its set. The earliest of what the visit recorded
    and what these sets ask for counts; without either the contractor's own days by severity. A note without a day has
    none.
    """
    for each in defects:
        due, words = last_day_of(each, versions, contractor.mend_within_days)
        if (each.due, each.due_words) != (due, words):
            Defect.objects.filter(id=each.id).update(due=due, due_words=words, version=F("version") + 1)
            each.due, each.due_words = due, words


def last_day_of(
    defect: Defect, versions: Sequence[LimitSetVersion], within: Mapping[str, Any]
) -> tuple[date | None, str]:
    """By when it is to be mended, and how that comes about. within: the contractor's days by severity."""
    found_on = defect.visit.local_date
    asked = [
        (found_on + timedelta(days=days), _by_clock(version.limit_set.name, days, found_on))
        for version in versions
        for days in mend_days(version, defect.severity)
    ]
    if defect.mend_by:
        asked.append((defect.mend_by, _("as recorded at the visit")))
    if not asked and defect.severity in within:
        days = int(within[defect.severity])
        asked.append((found_on + timedelta(days=days), _by_clock(_("the contractor's own choice"), days, found_on)))
    due, words = min(asked, default=(None, ""))
    return due, words[:300]


def _by_clock(source: str, days: int, found_on: date) -> str:
    said = {"source": source, "days": days, "day": spoken(found_on), "due": spoken(found_on + timedelta(days=days))}
    return _("by %(source)s: %(days)d days after %(day)s is %(due)s") % said


def open_defects(appliance_ids: Iterable[uuid.UUID]) -> list[tuple[Defect, list[LimitSetVersion]]]:
    """The open defects of these appliances, each with the versions by which its visit was judged."""
    still_open = Defect.objects.filter(STILL_OPEN, appliance__in=list(appliance_ids))
    related = still_open.select_related("visit__judgement").defer(
        "visit__card_seen", "visit__checklist", "visit__judgement__card", "visit__judgement__derived",
        "visit__judgement__verdicts",
    )  # fmt: skip
    known = related.prefetch_related("visit__judgement__limit_set_versions__limit_set")
    return [(each, list(each.visit.judgement.limit_set_versions.all())) for each in known]


def date_again(*, appliance_ids: Iterable[uuid.UUID], contractor: Contractor) -> list[Defect]:
    """The open defects of these appliances, their last days by today's choices of the contractor."""
    known = open_defects(appliance_ids)
    for each, versions in known:
        date_defects(defects=[each], versions=versions, contractor=contractor)
    return [each for each, _versions in known]


def settle_defect(*, defect: Defect, version: int, why: str, actor: User, now: datetime) -> Defect:
    """Closed by a named person, with the reason. Raises FleetError `invalid`, Conflict `changed_meanwhile`.

    What is called unsafe stays an open flag all the same: only a qualified person closes that.
    """
    if not why.strip():
        raise FleetError("invalid", "Closing a defect needs its reason.", errors={"why": "is empty; say why"})
    same = Defect.objects.filter(STILL_OPEN, id=defect.id, version=version)
    changes = {"settled_at": now, "settled_by": actor, "settled_why": why.strip()}
    if not same.update(**changes, version=F("version") + 1):
        raise Conflict("changed_meanwhile", "The defect was changed or closed meanwhile; read it again.")
    jobs.request_job(kind="refresh_appliance", key=str(defect.appliance_id), due_at=now)
    defect.refresh_from_db()
    return defect
