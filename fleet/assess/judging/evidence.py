"""What is evidence: whom and which analysers a record rests on, and why it proves nothing by the register of now."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fleet.coded import Coded, coded
from fleet.limits.cases import COMMON_FLUE
from fleet.models import Analyser, Person, Reading, Visit
from fleet.models.people import fuel_kind


@dataclass(frozen=True)
class Used:
    """Who and which analysers a record rests on: ids of those on the register, and names as given of those not.

    fuel: what burnt, as the record names it. set_to: the fuels that the analysers were set to for the readings that
    say how the appliance was left; empty where nobody said.
    """

    fuel_kind: str
    analysers: tuple[str, ...] = ()
    analysers_unknown: tuple[str, ...] = ()
    people: tuple[str, ...] = ()
    people_unknown: tuple[str, ...] = ()
    fuel: str = ""
    set_to: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        return {name: value for name, value in vars(self).items() if value}

    @classmethod
    def read(cls, said: Mapping[str, Any]) -> "Used":
        read: dict[str, Any] = {name: tuple(each) if isinstance(each, list) else each for name, each in said.items()}
        return cls(**read)


def used_in(visit: Visit, readings: Iterable[Reading]) -> Used:
    taken_by = list(readings)
    return Used(
        analysers=_ids(each.analyser_id for each in taken_by),
        analysers_unknown=tuple(sorted({each.analyser_given for each in taken_by if each.analyser_id is None})),
        people=_ids(each.person_id for each in taken_by),
        people_unknown=tuple(sorted({each.person_given for each in taken_by if each.person_id is None})),
        fuel_kind=fuel_kind(visit.fuel),
        fuel=visit.fuel,
        set_to=_ids(each.analyser_fuel for each in _last_of(taken_by)),
    )


def _last_of(readings: Iterable[Reading]) -> Sequence[Reading]:
    """Those of its own flue as left; all of its own where none was taken as left."""
    own = [each for each in readings if each.sampling_point != COMMON_FLUE]
    return [each for each in own if each.counted_phase == "as_left"] or own


def _ids(given: Iterable[Any]) -> tuple[str, ...]:
    return tuple(sorted({str(each) for each in given if each}))


ANALYSER_CODES = frozenset({"analyser_unknown", "analyser_not_in_calibration"})
PERSON_CODES = frozenset({"person_unknown", "person_not_qualified"})


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
        self._said: dict[tuple[Used, date], tuple[Coded, ...]] = {}

    def doubts(self, used: Used, day: date) -> tuple[Coded, ...]:
        """Why a record of that day is no evidence; empty where it is."""
        if (used, day) not in self._said:
            analysers = [self._analysers[each] for each in used.analysers if each in self._analysers]
            people = [self._people[each] for each in used.people if each in self._people]
            self._said[used, day] = tuple(_doubts(used, analysers, people, day))
        return self._said[used, day]

    def answers(self, used: Used, day: date) -> frozenset[str]:
        """Fields that the register answers for a record: everybody's licence, every analyser's calibration."""
        codes = {code for code, _figures in self.doubts(used, day)}
        answered = set()
        if used.people and not codes & PERSON_CODES:
            answered.add("technician_licence")
        if used.analysers and not codes & ANALYSER_CODES:
            answered.add("analyser_calibration")
        return frozenset(answered)


def no_evidence(visit: Visit) -> tuple[Coded, ...]:
    """Instrument or person unknown, or not valid on the day, by what the register holds now; one a doubt."""
    readings: list[Reading] = list(visit.readings.all())
    analysers = {each.analyser for each in readings if each.analyser}
    people = {each.person for each in readings if each.person}
    return tuple(_doubts(used_in(visit, readings), analysers, people, visit.local_date))


def _doubts(used: Used, analysers: Iterable[Analyser], people: Iterable[Person], day: date) -> Iterator[Coded]:
    for given in used.analysers_unknown:
        yield coded("analyser_unknown", analyser=given)
    for analyser in sorted(analysers, key=lambda each: each.name):
        if analyser.calibration_on(day) is None:
            yield coded("analyser_not_in_calibration", analyser=analyser.name, day=day)
    for given in used.people_unknown:
        yield coded("person_unknown", person=given)
    for person in sorted(people, key=lambda each: each.name):
        if not person.is_qualified(used.fuel_kind, day):
            yield coded("person_not_qualified", person=person.name, fuel_kind=used.fuel_kind, day=day)
