"""Judge a visit: derive what the readings mean, hold them against every limit that applies, keep it with versions."""

import uuid
from collections.abc import Collection, Iterable, Sequence
from datetime import datetime

from django.db import transaction
from django.db.models import Max, Q

from fleet.assess.due.checks import MADE_WITH, check_of
from fleet.assess.judging.cards import card_for, sheet_content
from fleet.assess.judging.cases import cases_of, number_of, only_analyser, without_logged
from fleet.assess.judging.deriving import derive
from fleet.assess.judging.diagnosing import patterns, patterns_version, view_of
from fleet.assess.judging.outcomes import outcome_of, read_before_work
from fleet.limits import Diagnosis as Suggestion
from fleet.limits import Verdict, diagnose, evaluate
from fleet.models import Diagnosis, Finding, Judgement, Question, Visit, VisitCheck
from fleet.models.records import content_of

ENGINE = "judgement/4"
AT_ONCE = 500


@transaction.atomic
def judge_visit(*, visit: Visit, now: datetime) -> Judgement:
    """Judge, or judge anew, and keep card, derived figures and verdicts with the versions they were made with."""
    readings = list(visit.readings.all())
    made_with = card_for(visit.appliance, visit.local_date, only_analyser(readings), visit=visit)
    derived = derive(visit, readings, sheet=sheet_content(made_with.sheet), site=content_of(visit.record)["site"])
    verdicts = without_logged(evaluate(made_with.table, cases_of(visit, derived)))
    outcome = outcome_of(verdicts.verdicts, readings, read_before_work(readings, visit.work.all(), made_with.table))
    judgement, made = Judgement.objects.update_or_create(
        visit=visit,
        defaults={
            "engine": ENGINE,
            "sheet_version": made_with.sheet,
            "stop_levels": made_with.stop_levels,
            "card": made_with.table.as_json(),
            "derived": [each.as_json() for each in derived.values()],
            "verdicts": verdicts.as_json() | vars(outcome),
            "outcome": outcome.outcome,
            "judged_at": now,
        },
    )
    if made:
        judgement.limit_set_versions.add(*made_with.limit_sets)
    else:
        judgement.limit_set_versions.set(made_with.limit_sets)
        judgement.findings.all().delete()
        visit.diagnoses.all().delete()
    Finding.objects.bulk_create(_finding(judgement, number, each) for number, each in enumerate(verdicts.findings, 1))
    put_diagnoses(visit=visit, judgement=judgement, now=now)
    return judgement


def _finding(judgement: Judgement, number: int, verdict: Verdict) -> Finding:
    return Finding(
        judgement=judgement,
        number=number,
        reading=number_of(verdict.reading_key),
        phase=verdict.phase or "",
        rate=verdict.rate or "",
        quantity=verdict.quantity,
        value=verdict.value if isinstance(verdict.value, float | int) else None,
        severity=verdict.severity,
        stop=verdict.stop,
    )


# Patterns of this severity ask the office about the record, not the technician about the appliance.
ABOUT_THE_RECORD = "query"


def put_diagnoses(*, visit: Visit, judgement: Judgement, now: datetime) -> None:
    """What the visit itself and its change since the last suggest; what it suggested before is gone by then."""
    _put(visit, diagnose(view_of(visit, judgement), patterns()), now)


@transaction.atomic
def put_elsewhere(*, visit: Visit, found: Sequence[Suggestion], now: datetime) -> None:
    """Keep what other visits suggest of this one; what asks about the record opens a question for the office, once."""
    visit.diagnoses.filter(pattern__in=("DX23", "DX24", "DX25")).delete()
    _put(visit, found, now)
    known = set(visit.questions.values_list("code", flat=True))
    for each in found:
        code = f"pattern_{each.pattern.lower()}"
        if each.severity == ABOUT_THE_RECORD and code not in known:
            figures = {**each.figures, "named": dict(each.named)}
            Question.objects.create(visit=visit, code=code, figures=figures, opened_at=now)


def _put(visit: Visit, found: Sequence[Suggestion], now: datetime) -> None:
    if not found:
        return
    last = visit.diagnoses.aggregate(last=Max("number"))["last"] or 0
    Diagnosis.objects.bulk_create(
        Diagnosis(
            visit=visit,
            number=number,
            pattern=each.pattern,
            severity=each.severity,
            evidence=each.evidence,
            data_version=patterns_version(),
            figures=dict(each.figures),
            named=dict(each.named),
            inputs={name: list(ids) for name, ids in each.inputs.items()},
            made_at=now,
        )
        for number, each in enumerate(found, last + 1)
    )


# ---- what it is worth as a check ----


def put_check(*, visit: Visit, judgement: Judgement) -> None:
    """After each judgement, in its transaction."""
    _put_checks([check_of(visit, judgement)])


def catch_up(*, appliance_ids: Collection[uuid.UUID] | None = None) -> int:
    """Make those that are missing or that an older program made; of these appliances, or of all. Returns how many."""
    if appliance_ids is None and _none_missing():
        return 0
    older = Visit.objects.filter(Q(check_made__isnull=True) | ~Q(check_made__made_with=MADE_WITH))
    if appliance_ids is not None:
        older = older.filter(appliance__in=appliance_ids)
    ids = list(older.filter(judgement__isnull=False).order_by("id").values_list("id", flat=True))
    for first in range(0, len(ids), AT_ONCE):
        related = Visit.objects.filter(id__in=ids[first : first + AT_ONCE]).select_related("attendance", "judgement")
        visits = related.prefetch_related("readings", "work", "defects").defer("judgement__card")
        _put_checks(check_of(each, each.judgement) for each in visits)
    return len(ids)


def _none_missing() -> bool:
    return Judgement.objects.count() == VisitCheck.objects.filter(made_with=MADE_WITH).count()


def _put_checks(made: Iterable[VisitCheck]) -> None:
    names = [each.name for each in VisitCheck._meta.fields if not each.primary_key]
    VisitCheck.objects.bulk_create(made, update_conflicts=True, unique_fields=["visit"], update_fields=names)
