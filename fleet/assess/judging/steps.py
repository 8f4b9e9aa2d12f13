"""Adjustments made before: how far an adjuster was turned and how CO2 answered, here, on its model, in the fleet."""

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Prefetch
from django.db.models.fields.json import KeyTransform

from fleet.limits import Adjuster, Step
from fleet.limits.cases import COMMON_FLUE
from fleet.models import Appliance, Reading, WorkItem

# Of other appliances the newest so many adjustments say what there is to learn.
MOST_STEPS = 600
READING_FIELDS = ("number", "rate", "rate_proven_by", "sampling_point", "casing", "steadiness")
ADJUSTERS = "adjusters_of_the_card"


@dataclass(frozen=True)
class StepsTaken:
    """Steps of this appliance; of each other appliance of its sheet; of each appliance of each other sheet."""

    own: list[Step]
    model: list[list[Step]]
    fleet: list[list[list[Step]]]


def steps_taken(appliance: Appliance, adjuster: str) -> StepsTaken:
    """Every recorded step of adjusters of this name with its turns and a CO2 reading at its rate before and after."""
    items = WorkItem.objects.filter(kind="adjustment", turns__isnull=False).exclude(direction="")
    related = items.select_related("visit__appliance", "visit__judgement").only(
        *("number", "visit", "kind", "after_reading", "adjuster", "rate", "direction", "turns"),
        *("visit__appliance__sheet", "visit__judgement__derived"),
    )
    related = related.annotate(**{ADJUSTERS: KeyTransform("adjusters", "visit__judgement__card")}).prefetch_related(
        Prefetch("visit__readings", Reading.objects.only("visit", *READING_FIELDS)),
        Prefetch("visit__work", WorkItem.objects.only("visit", "number", "kind", "after_reading", "rate")),
    )
    by_sheet: dict[uuid.UUID | None, dict[uuid.UUID, list[Step]]] = defaultdict(lambda: defaultdict(list))
    others = related.exclude(visit__appliance=appliance).order_by("-visit__local_date", "-id")[:MOST_STEPS]
    for item in (*related.filter(visit__appliance=appliance), *others):
        theirs = item.visit.appliance
        of_it = theirs.sheet_id != appliance.sheet_id or item.adjuster == adjuster
        if of_it and (step := step_of(item, [Adjuster(**each) for each in getattr(item, ADJUSTERS)])):
            by_sheet[theirs.sheet_id][theirs.id].append(step)
    model = by_sheet.pop(appliance.sheet_id, {})
    own = model.pop(appliance.id, [])
    return StepsTaken(own, list(model.values()), [list(each.values()) for each in by_sheet.values()])


def step_of(item: WorkItem, adjusters: Iterable[Adjuster]) -> Step | None:
    """The step that a piece of work was: CO2 at its rate before and after it, with nothing else turned between.

    adjusters: of the visit's card, which say which way raises CO2.
    """
    readings = list(item.visit.readings.all())
    before = [each for each in readings if each.rate == item.rate and each.number <= item.after_reading]
    after = [each for each in readings if each.rate == item.rate and each.number > item.after_reading]
    raises = _raising(adjusters, item.adjuster)
    if not (before and after and raises and item.turns) or _also_moved(item, before[-1], after[0]):
        return None
    if before[-1].casing != after[0].casing:
        return None
    was, became = _co2_pct(item, before[-1]), _co2_pct(item, after[0])
    if was is None or became is None:
        return None
    return Step(item.turns if item.direction == raises else -item.turns, became - was)


def _co2_pct(item: WorkItem, reading: Reading) -> float | None:
    """CO2 of a reading that teaches: of its own flue, at a proven rate, steady as far as known, not invalid."""
    derived = item.visit.judgement.figures[reading.number]
    shown = derived.steadiness
    restless = reading.steadiness == "not_steady" or (shown is not None and shown.overall is False)
    usable = reading.rate_proven and reading.sampling_point != COMMON_FLUE
    return derived.co2_pct if usable and not restless and not derived.invalid else None


def _raising(adjusters: Iterable[Adjuster], name: str) -> str:
    return next((each.raises_co2 for each in adjusters if each.name == name), "")


def _also_moved(item: WorkItem, before: Reading, after: Reading) -> bool:
    """Whether other work between the two readings touched this rate, or both rates at once."""
    others = [each for each in item.visit.work.all() if each.id != item.id and each.moves_combustion]
    between = [each for each in others if before.number <= each.after_reading < after.number]
    return any(each.rate in ("", item.rate) for each in between)
