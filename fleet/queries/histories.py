"""One appliance with its whole history: what its page, its API resource and its paper show."""

import uuid
from dataclasses import dataclass

from django.db.models import QuerySet

from fleet.assess.judging.visit_facts import VisitFacts
from fleet.assess.refusals import found
from fleet.models import (
    Appliance,
    Defect,
    Flag,
    Forecast,
    NoAccess,
    Record,
    RequiredCheck,
    Revisit,
    SheetVersion,
    User,
    Visit,
)
from fleet.models.follow_ups import STILL_OPEN
from fleet.presentation.revisits import attempt_words
from fleet.queries.follow_ups import visible_no_access
from fleet.queries.forecasts import visible_forecasts
from fleet.queries.register import visible_appliances
from fleet.queries.visits import visible_visits, visit_for


@dataclass(frozen=True)
class History:
    """An appliance, newest visit first; `last` is the newest visit with readings, whole.

    attempts : without access, newest first.
    """

    appliance: Appliance
    sheet: SheetVersion | None
    last: VisitFacts | None
    visits: tuple[Visit, ...]
    forecasts: tuple[Forecast, ...]
    revisit: Revisit | None
    flags: tuple[Flag, ...]
    required_checks: tuple[RequiredCheck, ...]
    defects: tuple[Defect, ...]
    attempts: tuple[NoAccess, ...]
    records: tuple[Record, ...]

    @property
    def gases(self) -> tuple[Forecast, ...]:
        """The forecasts of what a target is set for; the others have a ceiling alone."""
        return tuple(each for each in self.forecasts if not each.has_only_a_ceiling)

    @property
    def tried(self) -> list[tuple[NoAccess, str]]:
        """The attempts, each with its words."""
        return [(each, attempt_words(each)) for each in self.attempts]


def history_for(viewer: User, appliance_id: uuid.UUID) -> History:
    """Raises NotFound where the viewer may not see the appliance."""
    appliance = found(visible_appliances(viewer), appliance_id, "There is no such appliance that you may see.")
    visits = tuple(visible_visits(viewer).filter(appliance=appliance))
    last = next((each for each in visits if each.readings.all()), None)
    return History(
        appliance=appliance,
        sheet=appliance.sheet.current if appliance.sheet else None,
        last=visit_for(viewer, last.id) if last else None,
        visits=visits,
        forecasts=tuple(visible_forecasts(viewer).filter(appliance=appliance)),
        revisit=Revisit.objects.filter(appliance=appliance).select_related("appliance__building", "set_by").first(),
        flags=tuple(_open_flags(appliance)),
        required_checks=tuple(
            RequiredCheck.objects.filter(appliance=appliance, until__isnull=True).select_related("assignment")
        ),
        defects=tuple(
            Defect.objects.filter(STILL_OPEN, appliance=appliance).select_related("appliance__building", "resolved_by")
        ),
        attempts=tuple(visible_no_access(viewer).filter(appliance=appliance)),
        records=tuple(Record.objects.filter(kind="visit", subject__in=[each.id for each in visits]).order_by("-id")),
    )


def _open_flags(appliance: Appliance) -> QuerySet[Flag]:
    standing = Flag.objects.filter(appliance=appliance, closed_at__isnull=True)
    return standing.select_related("appliance__building", "acknowledged_by", "visit__judgement")
