"""Record a visit: store it once, judge it, open what it calls for, and ask for what must follow."""

import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Prefetch, Q

from fleet.assess.judging.oddities import questions_for
from fleet.assess.judging.visit_rows import local_date, site_facts, visit_rows
from fleet.assess.projections import closings_said
from fleet.coded import Coded, coded, wrong
from fleet.errors import Conflict, Malformed, NotFound
from fleet.evidence import sha256_hex
from fleet.models import (
    Appliance,
    Attendance,
    Defect,
    Judgement,
    Question,
    Reading,
    Record,
    UnreadableRecord,
    User,
    Visit,
    WorkItem,
)
from fleet.models.drafts import VisitDraft
from fleet.models.judgements import TurnedOut
from fleet.models.records import content_of
from fleet.queries.register import visible_appliances
from fleet.services import deliveries, flags, follow_ups, jobs, judgements, tenancies
from fleet.services.records import append_record, found_or_made, put_rows
from fleet.services.register import change_row


@transaction.atomic
def record_visit(*, draft: VisitDraft, actor: User, now: datetime) -> Visit:
    """The stored visit. The same message again gives the same visit; other content under its id is a Conflict.

    Raises NotFound for an appliance the actor may not see, Malformed where it doesn't stand in the building named.
    Everything else about field work is accepted and, where it is odd, put as a question to the office.
    """
    appliance = _appliance(draft, actor)

    def store_and_judge() -> Visit:
        content = draft.content | {"site": site_facts(appliance, draft.content)}
        return _take_in(_append(draft, content, actor, now), appliance, now=now)

    return found_or_made(look=lambda: _already_recorded(draft, actor), create=store_and_judge)[0]


@transaction.atomic
def amend_visit(
    *, draft: VisitDraft, reason: str, version: int, actor: User, now: datetime, proof: Mapping[str, str] | None = None
) -> Visit:
    """A correction in force: a new record with the whole new content; the old one stays. Raises NotFound, Conflict.

    version: how many records the visit had when it was read, so that nobody corrects what they haven't seen. proof: on
    what it rests besides the actor's word. Whether it may be in force is asked by `corrections.correct_visit`.

    A visit on the wrong appliance is moved: what it opened there is closed, but for unsafe and stop level, which
    only a qualified person closes.
    """
    appliance = _appliance(draft, actor)
    before = visible_appliances(actor).filter(visits=draft.id).first()
    records = list(Record.objects.filter(kind="visit", subject=draft.id).order_by("id"))
    if not records or before is None:
        raise NotFound("not_found", "There is no such visit that you may see.")
    if version != len(records):
        raise Conflict(
            "changed_meanwhile", "It has %(count)d records by now; read it again.", figures={"count": len(records)}
        )
    newest = records[-1]
    site = _site_again(newest, draft, appliance) if before == appliance else site_facts(appliance, draft.content)
    content = draft.content | {"site": site, "amendment": {"reason": reason, **(proof or {})}}
    try:
        record = _append(draft, content, actor, now, newest)
    except IntegrityError as bad:
        raise Conflict("amended_meanwhile", "Somebody else corrected this visit; read it again.") from bad
    visit = _take_in(record, appliance, now=now, left=before if before != appliance else None)
    if before != appliance:
        flags.close_moved(visit_id=draft.id, appliance=before, now=now)
        jobs.request_job(kind="refresh_appliance", key=str(before.id), due_at=now)
    for each in {before, appliance}:
        flags.replay_newest(appliance=each, now=now)
    return visit


def _append(
    draft: VisitDraft, content: dict[str, Any], actor: User, now: datetime, amends: Record | None = None
) -> Record:
    with transaction.atomic():
        return append_record(
            kind="visit", subject=draft.id, content=content, actor=actor, now=now,
            submitted_sha256=draft.submitted_sha256, amends=amends,
        )  # fmt: skip


def keep_unreadable(
    *, body: bytes, errors: Mapping[str, Coded], unsafe: uuid.UUID | None, actor: User, now: datetime
) -> UnreadableRecord:
    """Keep a message that can't be read, once; if it calls an appliance unsafe, that is acted on at once."""
    with transaction.atomic():
        unreadable, _new = UnreadableRecord.objects.get_or_create(
            actor=actor,
            body_sha256=sha256_hex(body),
            resolved_at__isnull=True,
            defaults={"body": body, "errors": {path: list(said) for path, said in errors.items()}, "received_at": now},
        )
        if unsafe and (appliance := visible_appliances(actor).filter(id=unsafe).first()):
            flags.open_unsafe_unread(appliance=appliance, unreadable_id=unreadable.id, now=now)
        return unreadable


def project_visit(*, record: Record) -> dict[str, Any]:
    """Bring the rows of this visit to what its record says. Returns the record's content."""
    content = content_of(record)
    rows = visit_rows(content, record.id)
    put_rows(rows=rows)
    if record.amends:
        _delete_withdrawn(content, {row.id for row in rows}, content_of(record.amends))
    if record.amends or content.get("defects") or content.get("closes_defects"):
        _resolve_closings(content)
    return content


def _delete_withdrawn(content: dict[str, Any], kept: set[uuid.UUID], before: dict[str, Any]) -> None:
    """Rows of the record before that the correction no longer has; an attendance only where no visit is left to it."""
    for model in (Reading, WorkItem, Defect):
        model._default_manager.filter(visit=content["id"]).exclude(id__in=kept).delete()
    Attendance.objects.filter(id=before["attendance"]["id"], visits__isnull=True).delete()


def _resolve_closings(content: dict[str, Any]) -> None:
    """Each defect concerned is closed by the visit whose record in force says so, the newest of them, or is open.

    Concerned are the defects of the visit's appliance, and those that it closed before a correction moved it.
    """
    concerned = list(Defect.objects.filter(Q(appliance=content["appliance"]) | Q(closed_by=content["id"])))
    said = closings_said({each.appliance_id for each in concerned})
    for defect in concerned:
        closed_by = next(reversed(said.get((defect.appliance_id, defect.id), [])), None)
        if defect.closed_by_id != closed_by:
            Defect.objects.filter(id=defect.id).update(closed_by=closed_by)


def _take_in(record: Record, appliance: Appliance, *, now: datetime, left: Appliance | None = None) -> Visit:
    """left: the appliance that a correction took it from."""
    visit = _loaded(project_visit(record=record)["id"], appliance)
    judgement = judgements.judge_visit(visit=visit, now=now)
    judgements.put_check(visit=visit, judgement=judgement)
    _put_questions(visit, judgement.turned_out, now, corrected=record.amends_id is not None)
    flags.open_flags(visit=visit, judgement=judgement, now=now)
    _open_clocks(visit, judgement, now, left)
    jobs.request_job(kind="refresh_appliance", key=str(visit.appliance_id), due_at=now)
    jobs.request_job(kind="compare_visit", key=str(visit.id), due_at=now)
    return visit


def _open_clocks(visit: Visit, judgement: Judgement, now: datetime, left: Appliance | None) -> None:
    """What the sets of its day ask for after it: another test, the record delivered, defects repaired."""
    versions = list(judgement.limit_set_versions.select_related("limit_set"))
    follow_ups.follow_visit(visit=visit, judgement=judgement, versions=versions)
    deliveries.open_deliveries(visit=visit, versions=versions, now=now)
    tenancies.follow_visit(visit=visit, left=left, now=now)  # last: from here on it holds the building


def _loaded(visit_id: str, appliance: Appliance) -> Visit:
    """The visit with all that judging and asking look at, so that neither asks the database again."""
    related = Visit.objects.select_related("record", "attendance").prefetch_related(
        # Of one visit the number orders: nothing else is joined for it.
        Prefetch("readings", Reading.objects.order_by("number")),
        Prefetch("work", WorkItem.objects.order_by("number")),
        "readings__analyser__calibrations",
        "readings__person__qualifications",
        "defects",
    )
    visit = related.get(id=visit_id)
    visit.appliance = appliance
    return visit


def _put_questions(visit: Visit, turned_out: TurnedOut, now: datetime, *, corrected: bool) -> None:
    """What is odd about the visit as it now stands; a correction takes away what no longer holds."""
    found = questions_for(visit, turned_out, now)
    standing: list[Coded] = []
    if corrected:
        visit.questions.filter(resolved_at__isnull=True).exclude(code__in=[code for code, _figures in found]).delete()
        standing = [(each.code, each.figures) for each in visit.questions.all()]
    Question.objects.bulk_create(
        Question(visit=visit, code=code, figures=figures, opened_at=now)
        for code, figures in found
        if (code, figures) not in standing
    )


def _appliance(draft: VisitDraft, actor: User) -> Appliance:
    appliance = visible_appliances(actor).order_by().filter(id=draft.appliance_id).first()
    if appliance is None:
        raise NotFound("appliance_unknown", "There is no such appliance that you may see.")
    if appliance.building_id != draft.building_id:
        said = coded("stands_elsewhere", value=str(draft.building_id), building=str(appliance.building_id))
        errors = {"attendance.building": said}
        raise Malformed("visit_malformed", "The building isn't the appliance's.", errors=errors)
    attendance = draft.content["attendance"]["id"]
    if Attendance.objects.filter(id=attendance).exclude(building=draft.building_id).exists():
        errors = {"attendance.id": wrong("attended_elsewhere", attendance)}
        raise Malformed("visit_malformed", "The attendance was elsewhere.", errors=errors)
    return appliance


def _already_recorded(draft: VisitDraft, actor: User) -> Visit | None:
    first = Record.objects.filter(kind="visit", subject=draft.id, amends__isnull=True).first()
    if first is None:
        return None
    visit = Visit.objects.filter(id=draft.id, appliance__in=visible_appliances(actor)).first()
    if visit is None:
        raise NotFound("not_found", "There is no such visit that you may see.")
    if first.submitted_sha256 != draft.submitted_sha256:
        raise Conflict(
            "visit_differs",
            "This visit is already stored with other content; nothing was changed.",
            stored_sha256=first.submitted_sha256,
            sent_sha256=draft.submitted_sha256,
        )
    return visit


def _site_again(newest: Record, draft: VisitDraft, appliance: Appliance) -> dict[str, Any]:
    """The facts that the record has; those of another day where the correction moves the visit to another day."""
    site: dict[str, Any] = content_of(newest)["site"]
    zone = site["time_zone"]
    same_day = local_date(content_of(newest), zone) == local_date(draft.content, zone)
    return site if same_day else site_facts(appliance, draft.content)


# ---- what waits for somebody in the office ----


def resolve_question(*, question: Question, version: int, note: str, actor: User, now: datetime) -> Question:
    """Raises Conflict where it was resolved or changed meanwhile."""
    changes = {"resolved_at": now, "resolved_by": actor, "resolved_note": note}
    return change_row(row=question, version=version, changes=changes, still=Q(resolved_at__isnull=True))


def resolve_unreadable_record(
    *, unreadable: UnreadableRecord, version: int, how: str, actor: User, now: datetime
) -> UnreadableRecord:
    """Its body stays. Raises Conflict where it was resolved or changed meanwhile."""
    changes = {"resolved_at": now, "resolved_by": actor, "resolved_how": how}
    return change_row(row=unreadable, version=version, changes=changes, still=Q(resolved_at__isnull=True))
