"""Checks: which visits count as one, and why the record of a visit is no evidence, both by the register as it is."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from fleet.limits.cases import COMMON_FLUE
from fleet.models import Analyser, Person, Reading, Visit
from fleet.models.people import fuel_kind

# By any of these a reading is judged for the CO in its flue gas.
CO_QUANTITIES = frozenset({"co_air_free", "co", "co_co2_ratio"})


@dataclass(frozen=True)
class Check:
    """A visit that counts as a check, on its local date."""

    day: date
    visit_id: uuid.UUID


def checks_of(appliance_ids: Iterable[uuid.UUID], until: date) -> dict[uuid.UUID, list[Check]]:
    """The checks of each appliance up to a day, oldest first.

    A visit counts if the appliance was tested and at least one reading of its own flue, not void, was judged for CO:
    found within or outside. What was only looked at, or read where it proves nothing, discharges no duty.
    """
    tested = Visit.objects.filter(appliance__in=set(appliance_ids), outcome=Visit.Outcome.TESTED, local_date__lte=until)
    own = _own_readings(tested.values("id"))
    judged = tested.order_by("local_date", "id").values_list(
        "appliance_id", "id", "local_date", "judgement__derived", "judgement__verdicts__verdicts"
    )
    checks: dict[uuid.UUID, list[Check]] = defaultdict(list)
    for appliance_id, visit_id, day, derived, verdicts in judged.iterator():
        void = {each["number"] for each in derived or () if each["void"]}
        if _judged_for_co(verdicts or (), own[visit_id] - void):
            checks[appliance_id].append(Check(day, visit_id))
    return checks


def _own_readings(visits: Any) -> dict[uuid.UUID, set[int]]:
    """Numbers of the readings that were not taken in a common flue, by visit."""
    numbers: dict[uuid.UUID, set[int]] = defaultdict(set)
    own = Reading.objects.filter(visit__in=visits).exclude(sampling_point=COMMON_FLUE)
    for visit_id, number in own.order_by().values_list("visit_id", "number"):
        numbers[visit_id].add(number)
    return numbers


def _judged_for_co(verdicts: Iterable[dict[str, Any]], numbers: set[int]) -> bool:
    keys = {str(each) for each in numbers}
    return any(
        each["reading_key"] in keys and each["quantity"] in CO_QUANTITIES and each["outcome"] in ("within", "outside")
        for each in verdicts
    )


def doubts_about(visit_ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, tuple[str, ...]]:
    """Why the record of each of these visits is no evidence; empty for one that is."""
    visits = Visit.objects.filter(id__in=set(visit_ids)).only("id", "local_date", "fuel")
    related = visits.prefetch_related("readings__analyser__calibrations", "readings__person__qualifications")
    return {each.id: no_evidence(each) for each in related}


def no_evidence(visit: Visit) -> tuple[str, ...]:
    """Instrument or person unknown, or not valid on the day, by what the register holds now."""
    return tuple(sentence for _code, sentence in doubts_of(visit))


def doubts_of(visit: Visit) -> Iterator[tuple[str, str]]:
    """The same as code and sentence, one a doubt."""
    readings = list(visit.readings.all())
    yield from _about_analysers(visit, readings)
    yield from _about_people(visit, readings)


def _about_analysers(visit: Visit, readings: list[Reading]) -> Iterator[tuple[str, str]]:
    for given in sorted({each.analyser_given for each in readings if each.analyser is None}):
        yield "analyser_unknown", f"Analyser {given} is not on the register."
    used: set[Analyser] = {each.analyser for each in readings if each.analyser}
    for analyser in sorted(used, key=lambda each: each.name):
        if analyser.calibration_on(visit.local_date) is None:
            said = f"{analyser.name} had no calibration in force on {visit.local_date:%Y-%m-%d}."
            yield "analyser_not_in_calibration", said


def _about_people(visit: Visit, readings: list[Reading]) -> Iterator[tuple[str, str]]:
    for given in sorted({each.person_given for each in readings if each.person is None}):
        yield "person_unknown", f"The person {given} is not on the register."
    kind = fuel_kind(visit.fuel)
    used: set[Person] = {each.person for each in readings if each.person}
    for person in sorted(used, key=lambda each: each.name):
        if not person.is_qualified(kind, visit.local_date):
            said = f"{person.name} had no qualification for {kind} in force on {visit.local_date:%Y-%m-%d}."
            yield "person_not_qualified", said
