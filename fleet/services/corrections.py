"""Correct a visit: what makes it worse acts at once, what takes something back waits for more than one word."""

import uuid
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q

from fleet.assess.judging.condemned import held_against, taken_back
from fleet.assess.judging.evidence import no_evidence
from fleet.coded import coded
from fleet.errors import Conflict, FleetError, Forbidden, NotFound
from fleet.models import Correction, StoredFile, User, Visit
from fleet.models.drafts import VisitDraft
from fleet.queries.visits import visible_visits
from fleet.services.register import change_row
from fleet.services.visits import amend_visit


class _TakesBack(Exception):
    """Undoes the correction that was tried. what : codes of what it takes back."""

    def __init__(self, what: list[str]) -> None:
        super().__init__(what)
        self.what = what


@transaction.atomic
def correct_visit(
    *, draft: VisitDraft, reason: str, version: int, actor: User, now: datetime, shown_by: uuid.UUID | None = None
) -> Correction | None:
    """None where it is in force; else the correction that waits, and nothing else was changed.

    One that takes something back is in force at once only by a picture or file that came with the visit from somebody
    else (`shown_by`), or where a later test that is evidence has shown how the appliance is. Raises as `amend_visit`.
    """
    visit = visible_visits(actor).filter(id=draft.id).first()
    if visit is None:
        raise NotFound("not_found", "There is no such visit that you may see.")
    proof = {"shown_by": str(_file_of(visit, shown_by, actor).id)} if shown_by else {}
    before = held_against(visit, visit.judgement)
    try:
        with transaction.atomic():
            after = amend_visit(draft=draft, reason=reason, version=version, actor=actor, now=now, proof=proof)
            withdrawn = taken_back(before, held_against(after, after.judgement))
            if withdrawn and not proof and not _was_tested_since(visit, now):
                raise _TakesBack(withdrawn)
    except _TakesBack as found:
        return _keep_waiting(visit, draft, reason, version, found.what, actor, now)
    return None


def _keep_waiting(
    visit: Visit, draft: VisitDraft, reason: str, version: int, takes_back: list[str], actor: User, now: datetime
) -> Correction:
    said = {"content": draft.content, "submitted_sha256": draft.submitted_sha256, "reason": reason}
    waiting = Correction.objects.filter(visit=visit, ended_at__isnull=True).first()
    if waiting and (waiting.submitted_sha256, waiting.of_version) == (draft.submitted_sha256, version):
        return waiting
    if waiting:
        raise Conflict("correction_waits", "Another correction of this visit waits; confirm or refuse that first.")
    return Correction.objects.create(
        visit=visit, **said, takes_back=takes_back, of_version=version, made_by=actor, made_at=now
    )


def _file_of(visit: Visit, file_id: uuid.UUID, actor: User) -> StoredFile:
    """A file that came with the visit, from somebody else than who corrects it. Raises FleetError."""
    file = StoredFile.objects.filter(visit=visit, id=file_id).select_related("uploaded_by").first()
    if file is None or _is_same_person(file.uploaded_by, actor):
        errors = {"shown_by": coded("not_anothers_file", value=str(file_id))}
        raise FleetError("invalid", "Some fields can't be accepted.", errors=errors)
    return file


def _was_tested_since(visit: Visit, now: datetime) -> bool:
    """A later test of the appliance that is evidence."""
    tested = visit.appliance.visits.exclude(id=visit.id).exclude(outcome=Visit.Outcome.NOT_TESTED)
    later = tested.filter(local_date__gte=visit.local_date, local_date__lte=now.date() + timedelta(days=1))
    related = later.select_related("attendance").prefetch_related(
        "readings__analyser__calibrations", "readings__person__qualifications"
    )
    return any(
        (each.local_date, each.last_moment) > (visit.local_date, visit.last_moment)
        and each.readings.all()
        and not no_evidence(each)
        for each in related
    )


@transaction.atomic
def confirm_correction(*, correction: Correction, version: int, note: str, actor: User, now: datetime) -> Visit:
    """A second person says that it is right, and it is in force. Raises Forbidden for the same person, and Conflict
    where the visit was corrected meanwhile."""
    if _is_same_person(correction.made_by, actor):
        raise Forbidden("second_person_needed", "Somebody else than who made it must confirm a correction.")
    _end(correction, version, Correction.Ended.CONFIRMED, note, actor, now)
    content = correction.content
    draft = VisitDraft(
        id=correction.visit_id,
        appliance_id=uuid.UUID(content["appliance"]),
        building_id=uuid.UUID(content["attendance"]["building"]),
        content=content,
        submitted_sha256=correction.submitted_sha256,
    )
    return amend_visit(
        draft=draft,
        reason=correction.reason,
        version=correction.of_version,
        actor=actor,
        now=now,
        proof={"made_by": str(correction.made_by_id), "correction": str(correction.id)},
    )


def refuse_correction(*, correction: Correction, version: int, note: str, actor: User, now: datetime) -> Correction:
    """It doesn't come into force; the visit stands as it was, and what was asked for stays listed."""
    return _end(correction, version, Correction.Ended.REFUSED, note, actor, now)


def _end(
    correction: Correction, version: int, ended: Correction.Ended, note: str, actor: User, now: datetime
) -> Correction:
    changes = {"ended": ended, "ended_at": now, "ended_by": actor, "ended_note": note}
    return change_row(row=correction, version=version, changes=changes, still=Q(ended_at__isnull=True))


def _is_same_person(one: User | None, other: User) -> bool:
    """Also by a second log-in: of one person on the register, of one address or of one full name."""
    if one is None:
        return True
    names = [each.get_full_name().casefold() for each in (one, other)]
    mails = [each.email.casefold() for each in (one, other)]
    people = [getattr(getattr(each, "person", None), "id", None) for each in (one, other)]
    return one == other or any(first == second and bool(first) for first, second in (names, mails, people))
