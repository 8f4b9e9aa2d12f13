"""Advice while a test goes on: which adjuster, which way, about how far. Nothing is stored; the visit comes later."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from django.db.models import Model, QuerySet

from fleet.assess.judging.cards import card_for, sheet_content
from fleet.assess.judging.cases import cases_of, only_analyser, without_logged
from fleet.assess.judging.deriving import derive
from fleet.assess.judging.steps import step_of, steps_taken
from fleet.assess.judging.visit_rows import site_facts, visit_rows
from fleet.limits import Advice, Card, Response, Step, Verdict, advise, evaluate, learned_response
from fleet.models import Analyser, Appliance, Judgement, Person, Reading, User, Visit, WorkItem
from fleet.models.judgements import Derived
from fleet.models.people import fuel_kind
from fleet.models.register import new_id

Table = TypeVar("Table", bound=Model)


@dataclass(frozen=True)
class Advised:
    """Advice on the last reading, the verdicts on it, what it means, and what was learned of its adjuster."""

    advice: Advice
    verdicts: list[Verdict]
    derived: Derived
    response: Response | None


def advise_on(*, appliance: Appliance, so_far: dict[str, Any], viewer: User, now: datetime) -> Advised:
    """What to do next after the readings and work so far: `readings`, `work`, `conditions`, `fuel` as in a visit.

    The person who is logged in must be qualified on the day for the fuel, else advice is withheld with that reason.
    """
    visit, site = _as_if_stored(appliance, so_far, now)
    readings = list(visit.readings.all())
    made_with = card_for(appliance, visit.local_date, only_analyser(readings), visit=visit)
    derived = derive(visit, readings, sheet=sheet_content(made_with.sheet), site=site)
    visit.judgement = Judgement(visit=visit, derived=[each.as_json() for each in derived.values()])
    cases = cases_of(visit, derived)
    last = next(each for each in cases if each["key"] == str(readings[-1].number))
    earlier = [each for each in cases if each is not last]
    response, first_step = _learned(appliance, visit, made_with.table, str(last["rate"]))
    person = Person.objects.filter(user=viewer).prefetch_related("qualifications").first()
    qualified = bool(person and person.is_qualified(fuel_kind(visit.fuel), visit.local_date))
    advice = advise(
        made_with.table, last, qualified=qualified, earlier=earlier, response=response, first_step=first_step
    )
    said = without_logged(evaluate(made_with.table, cases)).verdicts
    return Advised(
        advice, [each for each in said if each.reading_key == last["key"]], derived[readings[-1].number], response
    )


def _learned(appliance: Appliance, visit: Visit, card: Card, rate: str) -> tuple[Response | None, Step | None]:
    """What earlier visits taught of the adjuster of this rate, and what this visit's own first turn of it did."""
    adjuster = next((each for each in card.adjusters if each.rate in (rate, "any")), None)
    if adjuster is None:
        return None, None
    taken = steps_taken(appliance, adjuster.name)
    mine = [each for each in visit.work.all() if each.adjuster == adjuster.name and each.turns and each.direction]
    steps = [step for each in mine if (step := step_of(each, card.adjusters))]
    return learned_response(taken.own, taken.model, taken.fleet), next(iter(steps), None)


# ---- the test so far, as if it were a visit that is stored ----


def _as_if_stored(appliance: Appliance, so_far: dict[str, Any], now: datetime) -> tuple[Visit, dict[str, Any]]:
    content = {
        "id": str(new_id()),
        "attendance": {
            "id": str(new_id()),
            "building": str(appliance.building_id),
            "arrived_at": now.isoformat(),
            "people": [],
        },
        "appliance": str(appliance.id),
        "outcome": Visit.Outcome.PARTLY,
        "disposition": {"state": Visit.Disposition.NOT_TOUCHED},
        **so_far,
    }
    content["site"] = site_facts(appliance, content)
    rows = visit_rows(content, new_id())
    visit = next(Visit(id=row.id, **row.values) for row in rows if row.model is Visit)
    visit.appliance = appliance
    readings = [Reading(id=row.id, **row.values) for row in rows if row.model is Reading]
    work = [WorkItem(id=row.id, **row.values) for row in rows if row.model is WorkItem]
    used = Analyser.objects.filter(id__in={each.analyser_id for each in readings if each.analyser_id})
    analysers = {each.id: each for each in used.prefetch_related("calibrations")}
    for reading in readings:
        reading.analyser = analysers.get(reading.analyser_id) if reading.analyser_id else None
        reading.visit = visit
    for item in work:
        item.visit = visit
    cache: Any = visit
    cache._prefetched_objects_cache = {"readings": _at_hand(Reading, readings), "work": _at_hand(WorkItem, work)}
    return visit, content["site"]


def _at_hand(table: type[Table], rows: Sequence[Table]) -> QuerySet[Table]:
    """A queryset that already has its rows, as prefetching leaves it."""
    known: Any = table._default_manager.all()
    known._result_cache, known._prefetch_done = list(rows), True
    found: QuerySet[Table] = known
    return found
