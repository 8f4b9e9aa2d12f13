"""Checks: which visits count as one, what each answers, and why the record of a visit is no evidence."""

import json
import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date
from functools import lru_cache
from typing import Any, NamedTuple

from django.db.models import TextField
from django.db.models.functions import Cast
from django.utils.translation import gettext as _

from fleet.limits.cases import COMMON_FLUE
from fleet.models import Analyser, Judgement, Person, Reading, Visit, VisitCheck
from fleet.queries.answers import Used, used_in

# By any of these a reading is judged for the CO in its flue gas.
CO_QUANTITIES = frozenset({"co_air_free", "co", "co_co2_ratio"})
ANALYSER_CODES = frozenset({"analyser_unknown", "analyser_not_in_calibration"})
TEXTS_KEPT = 4096
PERSON_CODES = frozenset({"person_unknown", "person_not_qualified"})


class Check(NamedTuple):
    """A visit on its local date: whether it counts as a check, and what its record answers.

    counts, why_not, answered, conditions, used: as `VisitCheck` keeps them.
    """

    day: date
    counts: bool
    why_not: str
    run_hours_h: float | None
    answered: frozenset[str]
    conditions: frozenset[str]
    used: Used


def checks_of(appliance_ids: Iterable[uuid.UUID], until: date) -> dict[uuid.UUID, list[Check]]:
    """The visits of each appliance up to a day, oldest first, those that count as a check and the others."""
    made = VisitCheck.objects.filter(appliance__in=set(appliance_ids), local_date__lte=until)
    # As texts: most visits answer the same, and each text is read once.
    texts = {f"{name}_text": Cast(name, TextField()) for name in ("answered", "conditions", "used")}
    rows = made.annotate(**texts).order_by("local_date", "visit_id")
    names = ("appliance_id", "local_date", "counts", "why_not", "run_hours_h", *texts)
    checks: dict[uuid.UUID, list[Check]] = defaultdict(list)
    for appliance_id, day, counts, why_not, hours, answered, conditions, used in rows.values_list(*names).iterator():
        said = _names(answered), _names(conditions), _used(used)
        checks[appliance_id].append(Check(day, counts, why_not, hours, *said))
    return checks


@lru_cache(maxsize=TEXTS_KEPT)
def _names(text: str) -> frozenset[str]:
    return frozenset(json.loads(text))


@lru_cache(maxsize=TEXTS_KEPT)
def _used(text: str) -> Used:
    return Used.read(json.loads(text))


# ---- what counts ----


def why_no_check(visit: Visit, judgement: Judgement) -> str:
    """Why the visit is no check; empty where it is one.

    It is one if the appliance was tested and at least one reading of its own flue, not void, was judged for CO: found
    within or outside. What was only looked at, or read where it proves nothing, discharges no duty.
    """
    if visit.outcome != Visit.Outcome.TESTED:
        return ": ".join(filter(None, (str(visit.get_outcome_display()), visit.outcome_reason)))[:300]
    own = {each.number for each in visit.readings.all() if each.sampling_point != COMMON_FLUE}
    void = {each["number"] for each in judgement.derived or () if each["void"]}
    if _judged_for_co(judgement.verdicts.get("verdicts", ()), own - void):
        return ""
    return _("no reading of its own flue could be judged for CO")


def _judged_for_co(verdicts: Iterable[dict[str, Any]], numbers: set[int]) -> bool:
    keys = {str(each) for each in numbers}
    return any(
        each["reading_key"] in keys and each["quantity"] in CO_QUANTITIES and each["outcome"] in ("within", "outside")
        for each in verdicts
    )


# ---- what is evidence ----


class Behind:
    """Analysers and people behind records, with their calibrations and qualifications, read once."""

    def __init__(self, used: Iterable[Used]) -> None:
        known = list(used)
        analysers = {each for one in known for each in one.analysers}
        people = {each for one in known for each in one.people}
        found = Analyser.objects.filter(id__in=analysers).prefetch_related("calibrations")
        self._analysers = {str(each.id): each for each in found}
        qualified = Person.objects.filter(id__in=people).prefetch_related("qualifications")
        self._people = {str(each.id): each for each in qualified}
        self._said: dict[tuple[Used, date], tuple[tuple[str, str], ...]] = {}

    def doubts(self, used: Used, day: date) -> tuple[tuple[str, str], ...]:
        """Why a record of that day is no evidence, as code and sentence; empty where it is."""
        if (used, day) not in self._said:
            analysers = [self._analysers[each] for each in used.analysers if each in self._analysers]
            people = [self._people[each] for each in used.people if each in self._people]
            self._said[used, day] = tuple(_doubts(used, analysers, people, day))
        return self._said[used, day]

    def answers(self, used: Used, day: date) -> frozenset[str]:
        """Fields that the register answers for a record: everybody's licence, every analyser's calibration."""
        codes = {code for code, _sentence in self.doubts(used, day)}
        answered = set()
        if used.people and not codes & PERSON_CODES:
            answered.add("technician_licence")
        if used.analysers and not codes & ANALYSER_CODES:
            answered.add("analyser_calibration")
        return frozenset(answered)


def no_evidence(visit: Visit) -> tuple[str, ...]:
    """Instrument or person unknown, or not valid on the day, by what the register holds now."""
    return tuple(sentence for _code, sentence in doubts_of(visit))


def doubts_of(visit: Visit) -> Iterator[tuple[str, str]]:
    """The same as code and sentence, one a doubt."""
    readings: list[Reading] = list(visit.readings.all())
    analysers = {each.analyser for each in readings if each.analyser}
    people = {each.person for each in readings if each.person}
    yield from _doubts(used_in(visit, readings), analysers, people, visit.local_date)


def _doubts(
    used: Used, analysers: Iterable[Analyser], people: Iterable[Person], day: date
) -> Iterator[tuple[str, str]]:
    for given in used.analysers_unknown:
        yield "analyser_unknown", f"Analyser {given} is not on the register."
    for analyser in sorted(analysers, key=lambda each: each.name):
        if analyser.calibration_on(day) is None:
            said = f"{analyser.name} had no calibration in force on {day:%Y-%m-%d}."
            yield "analyser_not_in_calibration", said
    for given in used.people_unknown:
        yield "person_unknown", f"The person {given} is not on the register."
    for person in sorted(people, key=lambda each: each.name):
        if not person.is_qualified(used.fuel_kind, day):
            said = f"{person.name} had no qualification for {used.fuel_kind} in force on {day:%Y-%m-%d}."
            yield "person_not_qualified", said
