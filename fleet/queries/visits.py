"""Visits as a viewer may see them, and one visit with everything that a page, the API and the paper show of it."""

import uuid
from collections.abc import Iterable

from django.db.models import QuerySet

from fleet.assess.judging.visit_facts import VisitFacts, facts_of_visit
from fleet.assess.refusals import found
from fleet.models import Correction, User, Visit
from fleet.queries.access import visible_clients


def visible_visits(viewer: User) -> QuerySet[Visit]:
    return (
        Visit.objects.filter(appliance__building__client__in=visible_clients(viewer))
        .select_related(
            "appliance__building__client", "appliance__sheet", "attendance", "judgement", "record", "signed_by"
        )
        .prefetch_related("readings", "work", "defects", "questions", "diagnoses", "judgement__findings")
    )


def visit_for(viewer: User, visit_id: uuid.UUID) -> VisitFacts:
    """One visit with all its facts. Raises NotFound where the viewer may not see it."""
    related = visible_visits(viewer).prefetch_related(
        "readings__analyser__calibrations",
        "readings__person__qualifications",
        "appliance__sheet__versions",
        "corrections__made_by",
    )
    visit = found(related, visit_id, "There is no such visit that you may see.")
    return facts_of_visit(visit)


def visible_corrections(viewer: User) -> QuerySet[Correction]:
    """Those that take something back: waiting, confirmed and refused."""
    mine = Correction.objects.filter(visit__appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("visit__appliance__building__client", "visit__record", "made_by", "ended_by")


def visits_at_a_glance(viewer: User, ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, Visit]:
    """Visits for a list, by id: where, by whom and how they turned out, without readings and documents."""
    mine = Visit.objects.filter(appliance__building__client__in=visible_clients(viewer), id__in=ids)
    related = mine.select_related("appliance__building__client", "judgement", "signed_by")
    plain = related.defer("judgement__card", "judgement__derived")
    return {each.id: each for each in plain}
