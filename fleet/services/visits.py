"""Record a visit: store it once, judge it, open what it calls for, and ask for what must follow."""

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.db.models import Q

from fleet.combustion import Fuel, barometric_pressure_pa, fuel_for, gas_properties, heat_input_kw
from fleet.errors import Conflict, Malformed, NotFound
from fleet.evidence import sha256_hex
from fleet.models import (
    Analyser,
    Appliance,
    Attendance,
    Contractor,
    Defect,
    HeldMessage,
    Judgement,
    Mark,
    Person,
    Reading,
    Record,
    User,
    Visit,
    WorkItem,
)
from fleet.models.visits import MOVES_COMBUSTION
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES
from fleet.queries.appliances import visible_appliances
from fleet.services import defects, deliveries, flags, jobs, judgements, retests, tenancies
from fleet.services.checks import put_check
from fleet.services.marks import marks_for
from fleet.services.records import Row, append_record, content_of, part_id, put_rows

CUBIC_FOOT_M3 = 0.028316846592  # exact, international foot


@dataclass(frozen=True)
class VisitDraft:
    """What came in, read and checked; `submitted_sha256` is the hash of the message as it was sent."""

    id: uuid.UUID
    appliance_id: uuid.UUID
    building_id: uuid.UUID
    content: dict[str, Any]
    submitted_sha256: str


@transaction.atomic
def record_visit(*, draft: VisitDraft, actor: User, now: datetime) -> Visit:
    """The stored visit. The same message again gives the same visit; other content under its id is a Conflict.

    Raises NotFound for an appliance the actor may not see, Malformed where it doesn't stand in the building named.
    Everything else about field work is accepted and, where it is odd, marked for the office.
    """
    appliance = _appliance(draft, actor)
    if stored := _already_recorded(draft, actor):
        return stored
    content = draft.content | {"site": site_facts(appliance, draft.content)}
    try:
        with transaction.atomic():
            record = append_record(
                kind="visit",
                subject=draft.id,
                content=content,
                actor=actor,
                now=now,
                submitted_sha256=draft.submitted_sha256,
            )
    except IntegrityError:
        # Somebody else stored the same id while we looked: answer as if we had come second, which we did.
        if stored := _already_recorded(draft, actor):
            return stored
        raise
    return _take_in(record, appliance, now=now)


@transaction.atomic
def amend_visit(*, draft: VisitDraft, reason: str, version: int, actor: User, now: datetime) -> Visit:
    """A correction: a new record with the whole new content; the old one stays. Raises NotFound, Conflict.

    version: how many records the visit had when it was read, so that nobody corrects what they haven't seen.

    A visit on the wrong appliance is moved: what it opened there is closed, but for unsafe and stop level, which
    only a qualified person closes.
    """
    appliance = _appliance(draft, actor)
    before = visible_appliances(actor).filter(visits=draft.id).first()
    records = list(Record.objects.filter(kind="visit", subject=draft.id).order_by("id"))
    if not records or before is None:
        raise NotFound("not_found", "There is no such visit that you may see.")
    if version != len(records):
        raise Conflict("changed_meanwhile", f"It has {len(records)} records by now; read it again.")
    newest = records[-1]
    site = _site_again(newest, draft, appliance) if before == appliance else site_facts(appliance, draft.content)
    content = draft.content | {"site": site, "amendment": {"reason": reason}}
    try:
        with transaction.atomic():
            record = append_record(
                kind="visit",
                subject=draft.id,
                content=content,
                actor=actor,
                now=now,
                submitted_sha256=draft.submitted_sha256,
                amends=newest,
            )
    except IntegrityError as bad:
        raise Conflict("amended_meanwhile", "Somebody else corrected this visit; read it again.") from bad
    visit = _take_in(record, appliance, now=now, left=before if before != appliance else None)
    if before != appliance:
        flags.close_moved(visit_id=draft.id, appliance=before, now=now)
        jobs.request_job(kind="refresh_appliance", key=str(before.id), due_at=now)
    for each in {before, appliance}:
        flags.replay_newest(appliance=each, now=now)
    return visit


def hold_message(
    *, body: bytes, errors: dict[str, str], unsafe: uuid.UUID | None, actor: User, now: datetime
) -> HeldMessage:
    """Keep a message that can't be read, once; if it calls an appliance unsafe, that is acted on at once."""
    with transaction.atomic():
        held, _new = HeldMessage.objects.get_or_create(
            actor=actor,
            body_sha256=sha256_hex(body),
            settled_at__isnull=True,
            defaults={"body": body, "errors": errors, "received_at": now},
        )
        if unsafe and (appliance := visible_appliances(actor).filter(id=unsafe).first()):
            flags.open_unsafe_unread(appliance=appliance, held_id=held.id, now=now)
        return held


def project_visit(record: Record) -> dict[str, Any]:
    """Bring the rows of this visit to what its record says. Returns the record's content."""
    content = content_of(record)
    rows = visit_rows(content, record.id)
    put_rows(rows)
    if record.amends:
        _delete_withdrawn(content, {row.id for row in rows}, content_of(record.amends))
    if record.amends or content.get("defects") or content.get("closes_defects"):
        _settle_closings(content)
    return content


def _delete_withdrawn(content: dict[str, Any], kept: set[uuid.UUID], before: dict[str, Any]) -> None:
    """Rows of the record before that the correction no longer has; an attendance only where no visit is left to it."""
    for model in (Reading, WorkItem, Defect):
        model._default_manager.filter(visit=content["id"]).exclude(id__in=kept).delete()
    Attendance.objects.filter(id=before["attendance"]["id"], visits__isnull=True).delete()


def _settle_closings(content: dict[str, Any]) -> None:
    """Each defect concerned is closed by the visit whose record in force says so, the newest of them, or is open.

    Concerned are the defects of the visit's appliance, and those that it closed before a correction moved it.
    """
    concerned = list(Defect.objects.filter(Q(appliance=content["appliance"]) | Q(closed_by=content["id"])))
    said = closings_said({each.appliance_id for each in concerned})
    for defect in concerned:
        closed_by = next(reversed(said.get((defect.appliance_id, defect.id), [])), None)
        if defect.closed_by_id != closed_by:
            Defect.objects.filter(id=defect.id).update(closed_by=closed_by)


def closings_said(appliances: Iterable[uuid.UUID]) -> dict[tuple[uuid.UUID, uuid.UUID], list[uuid.UUID]]:
    """By appliance and defect the visits whose records in force say that they closed it, in the records' order."""
    said: dict[tuple[uuid.UUID, uuid.UUID], list[uuid.UUID]] = defaultdict(list)
    for record in Record.objects.filter(visit__appliance__in=appliances).order_by("id"):
        content = content_of(record)
        for defect in content.get("closes_defects", []):
            said[uuid.UUID(content["appliance"]), uuid.UUID(defect)].append(record.subject)
    return said


def _take_in(record: Record, appliance: Appliance, *, now: datetime, left: Appliance | None = None) -> Visit:
    """left: the appliance that a correction took it from."""
    visit = _loaded(project_visit(record)["id"], appliance)
    judgement = judgements.judge_visit(visit=visit, now=now)
    put_check(visit=visit, judgement=judgement)
    _put_marks(visit, judgement.verdicts, now, corrected=record.amends_id is not None)
    flags.open_flags(visit=visit, judgement=judgement, now=now)
    _open_clocks(visit, judgement, now, left)
    jobs.request_job(kind="refresh_appliance", key=str(visit.appliance_id), due_at=now)
    jobs.request_job(kind="compare_visit", key=str(visit.id), due_at=now)
    return visit


def _open_clocks(visit: Visit, judgement: Judgement, now: datetime, left: Appliance | None) -> None:
    """What the sets of its day ask for after it: another test, the record delivered, defects mended."""
    versions = list(judgement.limit_set_versions.select_related("limit_set"))
    retests.put_retests(visit=visit, judgement=judgement, versions=versions)
    deliveries.open_deliveries(visit=visit, versions=versions, now=now)
    if found := list(visit.defects.all()):
        defects.date_defects(defects=found, versions=versions, contractor=Contractor.objects.get())
    tenancies.follow_visit(visit=visit, left=left, now=now)  # last: from here on it holds the building


def _loaded(visit_id: str, appliance: Appliance) -> Visit:
    """The visit with all that judging and marking look at, so that neither asks the database again."""
    related = Visit.objects.select_related("record", "attendance").prefetch_related(
        "readings__analyser__calibrations", "readings__person__qualifications", "work", "defects"
    )
    visit = related.get(id=visit_id)
    visit.appliance = appliance
    return visit


def _put_marks(visit: Visit, verdicts: dict[str, Any], now: datetime, *, corrected: bool) -> None:
    """What is odd about the visit as it now stands; a correction takes away what no longer holds."""
    found = marks_for(visit, verdicts, now)
    standing: set[tuple[str, str]] = set()
    if corrected:
        visit.marks.filter(settled_at__isnull=True).exclude(code__in=[each.code for each in found]).delete()
        standing = {(each.code, each.sentence) for each in visit.marks.all()}
    Mark.objects.bulk_create(
        Mark(visit=visit, code=each.code, sentence=each.sentence, figures=each.figures, opened_at=now)
        for each in found
        if (each.code, each.sentence) not in standing
    )


def _appliance(draft: VisitDraft, actor: User) -> Appliance:
    appliance = visible_appliances(actor).filter(id=draft.appliance_id).first()
    if appliance is None:
        raise NotFound("appliance_unknown", "There is no such appliance that you may see.")
    if appliance.building_id != draft.building_id:
        errors = {"attendance.building": f"is {draft.building_id}; the appliance stands in {appliance.building_id}"}
        raise Malformed("visit_malformed", "The building isn't the appliance's.", errors=errors)
    attendance = draft.content["attendance"]["id"]
    if Attendance.objects.filter(id=attendance).exclude(building=draft.building_id).exists():
        errors = {"attendance.id": f"is {attendance}; that attendance was at another building"}
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


def site_facts(appliance: Appliance, content: dict[str, Any]) -> dict[str, Any]:
    """Facts of the register for the visit's day as they stood when the message came: they belong to the record."""
    building = appliance.building
    burnt = appliance.burns_on(_local_date(content, building.time_zone))
    return {
        "time_zone": building.time_zone,
        "fuel": burnt.name,
        "altitude_m": f"{building.altitude_m:g}",
        **({"fuel_composition": burnt.composition} if burnt.composition else {}),
        "sheet": str(appliance.sheet_id or ""),
        **({"steadiness": criterion} if (criterion := _criterion()) else {}),
    }


def _criterion() -> dict[str, str]:
    """What a series must keep to be steady, where the contractor has set its own."""
    own = Contractor.objects.values_list("steadiness", flat=True).first() or {}
    return {name: f"{value:g}" for name, value in own.items()}


def _site_again(newest: Record, draft: VisitDraft, appliance: Appliance) -> dict[str, Any]:
    """The facts that the record has; those of another day where the correction moves the visit to another day."""
    site: dict[str, Any] = content_of(newest)["site"]
    zone = site["time_zone"]
    same_day = _local_date(content_of(newest), zone) == _local_date(draft.content, zone)
    return site if same_day else site_facts(appliance, draft.content)


def _burnt(content: dict[str, Any]) -> tuple[str, dict[str, str]]:
    """What burnt: as the technician saw it, else what the register said of the site."""
    site = content["site"]
    name = content.get("fuel", site["fuel"])
    return name, site.get("fuel_composition", {}) if name == site["fuel"] else {}


# ---- from the record's content to rows: pure but for which people and analysers are on the register ----


def visit_rows(content: dict[str, Any], record_id: uuid.UUID) -> list[Row]:
    """Every row that this content projects to."""
    visit_id = uuid.UUID(content["id"])
    attendance = content["attendance"]
    people = _known(Person, [each["person"] for each in content.get("readings", [])] + [_signer(content)])
    analysers = _known(Analyser, [each["analyser"] for each in content.get("readings", [])])
    return [
        Row(
            Attendance,
            uuid.UUID(attendance["id"]),
            {
                "building_id": uuid.UUID(attendance["building"]),
                "people": attendance["people"],
                "arrived_at": _moment(attendance["arrived_at"]),
                "left_at": _moment(attendance.get("left_at")),
            },
        ),
        Row(Visit, visit_id, _visit_values(content, people) | {"record_id": record_id}),
        *_reading_rows(content, visit_id, people, analysers),
        *_work_rows(content, visit_id),
        *_defect_rows(content, visit_id),
    ]


def _visit_values(content: dict[str, Any], people: dict[str, uuid.UUID]) -> dict[str, Any]:
    disposition = content["disposition"]
    conditions = content.get("conditions", {})
    signature = content.get("signature", {})
    fuel, composition = _burnt(content)
    return {
        "attendance_id": uuid.UUID(content["attendance"]["id"]),
        "appliance_id": uuid.UUID(content["appliance"]),
        "local_date": _local_date(content, content["site"]["time_zone"]),
        "outcome": content["outcome"],
        "outcome_reason": content.get("outcome_reason", ""),
        "disposition": disposition["state"],
        "unsafe": disposition.get("unsafe", False),
        "unsafe_details": disposition.get("details", {}),
        "left_as_found": content.get("left_as_found", False),
        "plate": content.get("plate", {}),
        "card_seen": content.get("card_seen", {}),
        "checklist": content.get("checklist", []),
        "not_done": content.get("not_done", []),
        "fuel": fuel,
        "fuel_composition": composition,
        "sheet_id": _uuid(content["site"].get("sheet", "")),
        "note": content.get("note", ""),
        "declared": content.get("declared", {}),
        "signed_by_id": people.get(_signer(content)),
        "signed_at": _moment(signature.get("at")),
        "condition_qualifiers": _qualifiers(conditions),
        **{each.column: _figure(conditions.get(name)) for name, each in CONDITION_QUANTITIES.items()},
    }


def _reading_rows(
    content: dict[str, Any],
    visit_id: uuid.UUID,
    people: dict[str, uuid.UUID],
    analysers: dict[str, uuid.UUID],
) -> list[Row]:
    work = content.get("work", [])
    pressure_pa = _site_pressure_pa(content)
    fuel = fuel_for(*_burnt(content))
    return [
        Row(
            Reading,
            part_id(visit_id, "reading", number),
            {
                "visit_id": visit_id,
                "number": number,
                "phase": each["phase"],
                "counted_phase": counted_phase(each["phase"], number, work),
                "rate": each["rate"],
                "rate_set_by": each.get("rate_set_by", ""),
                "rate_proven_by": each.get("rate_proven_by", ""),
                "casing": each.get("casing", ""),
                "sampling_point": each["sampling_point"],
                "also_running": each.get("also_running", []),
                "taken_at": _moment(each.get("taken_at")),
                "time_precision": each["time_precision"],
                "steadiness": each.get("steadiness", "not shown"),
                "analyser_id": analysers.get(each["analyser"]),
                "analyser_given": each["analyser"],
                "person_id": people.get(each["person"]),
                "person_given": each["person"],
                "qualifiers": _qualifiers(each["values"]),
                "gas_rate": each.get("gas_rate"),
                "oil_derivatives": each.get("oil_derivatives"),
                "flame_unstable": each.get("flame_unstable", False),
                "series": each.get("series"),
                "analyser_fuel": each.get("analyser_fuel", ""),
                "input_kw_gross": _input_kw_gross(each.get("gas_rate"), pressure_pa, fuel),
                **{item.column: _figure(each["values"].get(name)) for name, item in READING_QUANTITIES.items()},
            },
        )
        for number, each in enumerate(content.get("readings", []), start=1)
    ]


def counted_phase(phase: str, number: int, work: list[dict[str, Any]]) -> str:
    """What the order makes of a reading: as found only before any work, as left only after the last of it.

    Only work that moves combustion counts; other work (a label, a leak test) changes nothing.
    """
    moved = [each["after_reading"] for each in work if each["kind"] in MOVES_COMBUSTION]
    if phase == "as found" and any(after < number for after in moved):
        return "between"
    if phase == "as left" and any(after >= number for after in moved):
        return "between"
    return phase


def _work_rows(content: dict[str, Any], visit_id: uuid.UUID) -> list[Row]:
    names = ("component", "adjuster", "rate", "direction", "amount", "note")
    return [
        Row(
            WorkItem,
            part_id(visit_id, "work", number),
            {
                "visit_id": visit_id,
                "number": number,
                "kind": each["kind"],
                "after_reading": each["after_reading"],
                "replaced": each.get("replaced", False),
                "turns": float(each["turns"]) if "turns" in each else None,
                **{name: each.get(name, "") for name in names},
            },
        )
        for number, each in enumerate(content.get("work", []), start=1)
    ]


def _defect_rows(content: dict[str, Any], visit_id: uuid.UUID) -> list[Row]:
    return [
        Row(
            Defect,
            part_id(visit_id, "defect", number),
            {
                "visit_id": visit_id,
                "appliance_id": uuid.UUID(content["appliance"]),
                "what": each["what"],
                "where": each.get("where", ""),
                "severity": each["severity"],
                "action": each.get("action", ""),
                "done": each.get("done", False),
                "mend_by": _day(each.get("mend_by")),
                "told": each.get("told", ""),
            },
        )
        for number, each in enumerate(content.get("defects", []), start=1)
    ]


def _known(model: type[Person] | type[Analyser], given: list[str]) -> dict[str, uuid.UUID]:
    ids = {text: found for text in given if (found := _uuid(text))}
    present = set(model._default_manager.filter(id__in=ids.values()).values_list("id", flat=True))
    return {text: each for text, each in ids.items() if each in present}


def _uuid(text: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(text)
    except ValueError:
        return None


def _signer(content: dict[str, Any]) -> str:
    return str(content.get("signature", {}).get("person", ""))


def _moment(text: str | None) -> datetime | None:
    """A time with its offset; a day alone is no moment."""
    return datetime.fromisoformat(text) if text and "T" in text else None


def _day(text: str | None) -> Any:
    return datetime.fromisoformat(text).date() if text else None


def _figure(value: dict[str, str] | None) -> float | None:
    return float(value["figure"]) if value and "figure" in value else None


def _qualifiers(values: dict[str, dict[str, str]]) -> dict[str, str]:
    return {name: each["qualifier"] for name, each in values.items() if each["qualifier"] != "="}


def _local_date(content: dict[str, Any], time_zone: str) -> Any:
    """The site's date of the last reading; without a reading's time, of leaving or arriving."""
    taken = [each["taken_at"] for each in content.get("readings", []) if each.get("taken_at")]
    if taken and all("T" not in each for each in taken):
        return max(_day(each) for each in taken)
    attendance = content["attendance"]
    moments = [moment for each in taken if (moment := _moment(each))]
    last = max(moments) if moments else _moment(attendance.get("left_at") or attendance["arrived_at"])
    assert last is not None
    return last.astimezone(ZoneInfo(time_zone)).date()


def _site_pressure_pa(content: dict[str, Any]) -> float:
    """Barometric pressure read at the visit, else the standard atmosphere's at the site's altitude [Pa]."""
    read = _figure(content.get("conditions", {}).get("barometric_pressure"))
    return float(barometric_pressure_pa(float(content["site"]["altitude_m"]))) if read is None else read


def _input_kw_gross(gas_rate: dict[str, str] | None, pressure_pa: float, fuel: Fuel) -> float | None:
    """Heat input from the timed meter [kW gross]; gas at 15 °C and at no gauge pressure where neither was read.

    A heating value that the message doesn't have is the fuel's own, at 15 °C.
    None without a timed meter, and where neither the message nor the fuel has a heating value by volume.
    """
    if not gas_rate or not (fuel.composition or "heating_value_mj_m3_gross" in gas_rate):
        return None
    volume_m3 = float(gas_rate["index_end"]) - float(gas_rate["index_start"])
    given = gas_rate.get("heating_value_mj_m3_gross")
    return float(
        heat_input_kw(
            volume_m3 * (CUBIC_FOOT_M3 if gas_rate["unit"] == "ft3" else 1.0),
            float(gas_rate["seconds"]),
            float(gas_rate.get("gas_temp_c", "15")),
            float(gas_rate.get("gas_pressure_pa", "0")),
            pressure_pa,
            gas_properties(fuel).hhv_mj_m3 if given is None else float(given),
            reference_temp_c=15.0 if given is None else float(gas_rate.get("heating_value_at_c", "15")),
        )
    )
