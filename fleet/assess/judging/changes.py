"""How an appliance's readings moved between two visits: the state it was left in, and what was found the next time."""

import itertools
import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet
from django.db.models.fields.json import KeyTransform

from fleet.limits.cases import COMMON_FLUE
from fleet.models import Analyser, Reading, Visit, WorkItem
from fleet.models.judgements import Derived


@dataclass(frozen=True)
class O2Change:
    """O2 as found at the highest rate less what it was when last left; points, by one visit."""

    visit_id: uuid.UUID
    appliance_id: uuid.UUID
    building_id: uuid.UUID
    analyser_id: uuid.UUID | None
    change_pct: float


@dataclass(frozen=True)
class RateReading:
    """A reading that speaks for a rate, with what was derived from it."""

    reading: Reading
    derived: Derived


def last_tested_before(visit: Visit) -> Visit | None:
    """The appliance's visit before this one that took readings."""
    tested = Visit.objects.filter(appliance=visit.appliance_id, readings__isnull=False).exclude(id=visit.id)
    earlier = Q(local_date__lt=visit.local_date) | Q(local_date=visit.local_date, id__lt=visit.id)
    # A visit stands there once a reading; the first is the first however often, and distinct would compare documents.
    related = tested.filter(earlier).order_by("-local_date", "-id").select_related("judgement")
    related = related.defer("judgement__card", "judgement__verdicts", "card_seen", "restore_steps")
    return related.prefetch_related(
        Prefetch("readings", Reading.objects.order_by("number")), Prefetch("work", WorkItem.objects.order_by("number"))
    ).first()


def at_rate(visit: Visit, rate: str, phases: Iterable[str], *, invalid_too: bool = False) -> RateReading | None:
    """The last usable reading at a rate in the first of these phases that has one, an invalid one only if asked for."""
    derived = visit.judgement.figures
    usable = [
        each
        for each in visit.readings.all()
        if each.rate == rate and _usable(each) and (invalid_too or not derived[each.number].invalid)
    ]
    for phase in phases:
        mine = [each for each in usable if each.counted_phase == phase]
        if mine:
            return RateReading(mine[-1], derived[mine[-1].number])
    return None


def left_phases(visit: Visit) -> tuple[str, ...]:
    """Which readings say how it was left: as left, else as found, if no work moved combustion after that."""
    moved = any(each.moves_combustion for each in visit.work.all())
    return ("as_left",) if moved else ("as_left", "as_found")


def _usable(reading: Reading) -> bool:
    """Of the appliance's own flue, at a proven rate."""
    return reading.rate_proven and reading.sampling_point != COMMON_FLUE


def changes_at_building(visit: Visit) -> list[O2Change]:
    """What the visits of this building and day found moved, this one among them."""
    that_day = Visit.objects.filter(appliance__building=visit.appliance.building_id, local_date=visit.local_date)
    return list(_changes(that_day))


def changes_by_analyser(analyser: Analyser, until: date, most: int) -> list[O2Change]:
    """What the newest visits read with this analyser since its last calibration found moved, newest first."""
    calibrated = analyser.newest_calibration(until)
    since = calibrated.done_on if calibrated else date.min
    read = Visit.objects.filter(readings__analyser=analyser, local_date__range=(since, until)).distinct()
    return [each for each in _changes(read.order_by("-local_date", "-id")[:most]) if each.analyser_id == analyser.id]


def _changes(visits: QuerySet[Visit]) -> Iterator[O2Change]:
    chosen = {each.id for each in visits}
    appliances = Visit.objects.filter(id__in=chosen).values("appliance")
    known = Visit.objects.filter(appliance__in=appliances, readings__isnull=False).distinct()
    related = known.select_related("judgement", "appliance").prefetch_related("readings", "work")
    related = related.defer("judgement__card", "judgement__verdicts", "card_seen", "restore_steps").annotate(
        rates=KeyTransform("rates", KeyTransform("sheet", "judgement__card"))
    )
    lives: dict[uuid.UUID, list[Visit]] = defaultdict(list)
    for each in related.order_by("local_date", "id"):
        lives[each.appliance_id].append(each)
    for life in lives.values():
        for before, after in itertools.pairwise(life):
            if after.id in chosen and (change := _o2_change(before, after)):
                yield change


def _o2_change(before: Visit, after: Visit) -> O2Change | None:
    rates: list[str] = after.rates  # type: ignore[attr-defined]  # annotated above
    if not rates or before.fuel != after.fuel or before.fuel_composition != after.fuel_composition:
        return None
    left, found = at_rate(before, rates[0], left_phases(before)), at_rate(after, rates[0], ("as_found",))
    if left is None or found is None or left.derived.o2_pct is None or found.derived.o2_pct is None:
        return None
    moved = found.derived.o2_pct - left.derived.o2_pct
    return O2Change(after.id, after.appliance_id, after.appliance.building_id, found.reading.analyser_id, moved)


def readings_like(visit: Visit) -> list[Reading]:
    """Readings of other visits that share O2 or CO2, CO and flue temperature with one of this visit, to the digit."""
    same = Q(pk__in=[])
    for each in visit.readings.all():
        gas = {"o2_pct": each.o2_pct} if each.o2_pct is not None else {"co2_pct": each.co2_pct}
        values = gas | {"co_ppm": each.co_ppm, "flue_temp_c": each.flue_temp_c}
        if None not in values.values():
            same |= Q(**values)
    return list(Reading.objects.filter(same).exclude(visit=visit.id).select_related("visit").order_by("id")[:50])


def newest_read_visits(appliance_ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, Visit]:
    """Of each appliance the newest visit that read anything, with all that judging it again asks for."""
    read = Visit.objects.filter(
        Exists(Reading.objects.filter(visit=OuterRef("pk"))), appliance__in=set(appliance_ids), judgement__isnull=False
    )
    newest = dict(read.order_by("local_date", "id").values_list("appliance", "id"))
    related = Visit.objects.filter(id__in=newest.values()).select_related("judgement")
    plain = related.defer("judgement__card", "judgement__verdicts", "card_seen", "restore_steps")
    whole = plain.prefetch_related("readings__analyser__calibrations", "work")
    return {each.appliance_id: each for each in whole}
