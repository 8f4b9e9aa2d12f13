"""One visit with everything that a page, the API and the paper show of it."""

from dataclasses import dataclass
from datetime import tzinfo
from zoneinfo import ZoneInfo

from fleet.limits import Card, Verdict
from fleet.limits.cases import COMMON_FLUE
from fleet.models import (
    Analyser,
    Appliance,
    Calibration,
    Contractor,
    Finding,
    Judgement,
    Person,
    Qualification,
    Question,
    Reading,
    Record,
    Visit,
)
from fleet.models.judgements import Derived
from fleet.models.people import fuel_kind


@dataclass(frozen=True)
class ReadingFacts:
    """A reading with what was derived from it (see `judging.deriving`) and its verdicts, strictest first."""

    reading: Reading
    derived: Derived
    verdicts: tuple[Verdict, ...]

    def qualifier(self, name: str) -> str:
        """Of a quantity of the reading: "=", "more_than", ..."""
        return str(self.reading.qualifiers.get(name, "="))


@dataclass(frozen=True)
class AnalyserFacts:
    """An analyser of the visit and its calibration in force that day, None where there was none."""

    name: str
    analyser: Analyser | None
    calibration: Calibration | None


@dataclass(frozen=True)
class PersonFacts:
    """Somebody of the visit and the qualification in force that day for its fuel, None where there was none."""

    name: str
    person: Person | None
    qualification: Qualification | None


@dataclass(frozen=True)
class VisitFacts:
    """One visit, whole. `card` is the decision table it was judged by; `records` its record and corrections."""

    contractor: Contractor
    visit: Visit
    appliance: Appliance
    judgement: Judgement
    readings: tuple[ReadingFacts, ...]
    findings: tuple[Finding, ...]
    questions: tuple[Question, ...]
    analysers: tuple[AnalyserFacts, ...]
    people: tuple[PersonFacts, ...]
    records: tuple[Record, ...]

    @property
    def card(self) -> Card:
        return self.judgement.table

    @property
    def zone(self) -> tzinfo:
        """The building's."""
        return ZoneInfo(self.appliance.building.time_zone)

    @property
    def rates(self) -> list[str]:
        """The sheet's rates from the highest, then any other that was read."""
        read = [each.reading.rate for each in self.readings]
        known = [rate for rate in self.card.sheet.rates if rate in read]
        return known + [rate for rate in dict.fromkeys(read) if rate not in known]

    @property
    def own(self) -> list[ReadingFacts]:
        """What was read in the appliance's own flue: the common one is its flue group's."""
        return [each for each in self.readings if each.reading.sampling_point != COMMON_FLUE]

    def at(self, rate: str, phase: str) -> ReadingFacts | None:
        """The last reading of its own that counts as `phase` at `rate`."""
        found = [each for each in self.own if (each.reading.rate, each.reading.counted_phase) == (rate, phase)]
        return found[-1] if found else None


def facts_of_visit(visit: Visit) -> VisitFacts:
    judgement = visit.judgement
    readings = tuple(_reading_facts(judgement, each) for each in visit.readings.all())
    return VisitFacts(
        contractor=Contractor.objects.get(),
        visit=visit,
        appliance=visit.appliance,
        judgement=judgement,
        readings=readings,
        findings=tuple(judgement.findings.all()),
        questions=tuple(visit.questions.all()),
        analysers=_analysers(visit),
        people=_people(visit),
        records=tuple(Record.objects.filter(kind="visit", subject=visit.id).select_related("actor").order_by("id")),
    )


def _reading_facts(judgement: Judgement, reading: Reading) -> ReadingFacts:
    mine = tuple(each for each in judgement.said if each.reading_key == str(reading.number))
    return ReadingFacts(reading, judgement.figures[reading.number], mine)


def _analysers(visit: Visit) -> tuple[AnalyserFacts, ...]:
    used = {each.analyser_given: each.analyser for each in visit.readings.all()}
    return tuple(
        AnalyserFacts(each.name if each else given, each, each.calibration_on(visit.local_date) if each else None)
        for given, each in used.items()
    )


def _people(visit: Visit) -> tuple[PersonFacts, ...]:
    used = {each.person_given: each.person for each in visit.readings.all()}
    if visit.signed_by:
        used.setdefault(str(visit.signed_by_id), visit.signed_by)
    kind = fuel_kind(visit.fuel)
    return tuple(
        PersonFacts(each.name if each else given, each, each.qualification_on(kind, visit.local_date) if each else None)
        for given, each in used.items()
    )
