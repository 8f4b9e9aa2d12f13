"""What is odd about an accepted visit: each a small question, its answer a code and figures for the office.

Field work is never refused for these: the technician did the work, the office corrects the record.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from fleet.assess.judging.evidence import no_evidence
from fleet.coded import Coded, coded
from fleet.combustion import identical_readings
from fleet.models import Reading, Visit
from fleet.models.judgements import TurnedOut
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES, Quantity

# Repeatability of portable analysers: 0.3 points of O2, 0.2 of CO2 (Swiss margins 0.4 and 0.35, seen at second hand).
NOISE_PCT = {"o2_pct": 0.3, "co2_pct": 0.2}


def questions_for(visit: Visit, turned_out: TurnedOut, now: datetime) -> list[Coded]:
    """Every oddity of the visit, in a fixed order."""
    readings = list(visit.readings.all())
    found: list[Coded] = []
    for question in (_evidence, _instruments, _values, _identical, _order, _times, _steadiness):
        found += question(visit, readings, now)
    found += [
        *_conditions(visit),
        *_changes_without_work(visit, readings),
        *_fuel(visit),
        *_data_plate(visit),
        *_out_of_use(visit),
        *_left_running(visit, turned_out),
    ]
    return [*found, *_rates(visit, readings, turned_out), *_seen_milder(visit, turned_out)]


def _instruments(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Coded]:
    yield from _beyond_the_instrument(readings)
    phases = {
        phase: {each.analyser_given for each in readings if each.counted_phase == phase}
        for phase in ("as_found", "as_left")
    }
    if all(phases.values()) and phases["as_found"] != phases["as_left"]:
        yield coded("analyser_changed")


def _beyond_the_instrument(readings: list[Reading]) -> Iterator[Coded]:
    """A figure that the analyser named for the reading doesn't measure."""
    for reading in readings:
        if reading.analyser is None or not reading.analyser.measures:
            continue
        for name in ("o2", "co", "no", "nox"):
            read = getattr(reading, READING_QUANTITIES[name].column) is not None
            if read and name not in reading.analyser.measures:
                said = {"reading": reading.number, "gas": name.upper(), "analyser": reading.analyser.name}
                yield coded("analyser_does_not_measure", **said)


def _evidence(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Coded]:
    """What makes the record no evidence by the register of now, and who answers for it."""
    yield from no_evidence(visit)
    if visit.signed_by_id is None:
        yield coded("not_signed")


def _values(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Coded]:
    for reading in readings:
        for quantity in READING_QUANTITIES.values():
            value = getattr(reading, quantity.column)
            if value is not None and not quantity.low <= value <= quantity.high:
                yield coded("value_implausible", reading=reading.number, **_beyond(quantity, value))


def _beyond(quantity: Quantity, value: float) -> dict[str, Any]:
    return {"quantity": quantity.column, "value": value, "low": quantity.low, "high": quantity.high}


def _conditions(visit: Visit) -> Iterator[Coded]:
    for quantity in CONDITION_QUANTITIES.values():
        value = getattr(visit, quantity.column)
        if value is not None and not quantity.low <= value <= quantity.high:
            yield coded("value_implausible", **_beyond(quantity, value))


def _identical(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Coded]:
    """Readings at two rates that agree to the last digit; at one rate the burner may simply have stayed as it was."""
    columns = [each.column for each in READING_QUANTITIES.values()]
    for one, other in identical_readings([{name: getattr(each, name) for name in columns} for each in readings]):
        first, second = readings[one], readings[other]
        if first.rate != second.rate:
            yield coded("readings_identical", readings=[first.number, second.number])


def _order(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Coded]:
    for reading in readings:
        if reading.phase == "as_found" and reading.counted_phase != "as_found":
            yield coded("as_found_after_work", reading=reading.number)
        if reading.phase == "as_left" and reading.counted_phase != "as_left":
            yield coded("as_left_before_work", reading=reading.number)


def _steadiness(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Coded]:
    """Called steady, while what the analyser logged shows otherwise; the series counts."""
    for reading in readings:
        shown = visit.judgement.figures[reading.number].steadiness
        seen = {"steady": True, "not_steady": False}.get(reading.steadiness)
        if shown and seen is not None and shown.overall is (not seen):
            why = next((each.reason for each in shown.of.values() if each.reason), None)
            yield coded("steadiness_differs", reading=reading.number, called=reading.steadiness, why=why)


def _times(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Coded]:
    taken = [each.taken_at for each in readings if each.taken_at]
    if any(moment > now + timedelta(hours=24) for moment in taken):
        yield coded("time_ahead")
    if any(later < earlier for earlier, later in pairwise(taken)):
        yield coded("times_out_of_order")


def _changes_without_work(visit: Visit, readings: list[Reading]) -> Iterator[Coded]:
    if visit.work.all():
        return
    for found in (each for each in readings if each.counted_phase == "as_found"):
        for left in (each for each in readings if each.counted_phase == "as_left" and each.rate == found.rate):
            for column, noise in NOISE_PCT.items():
                before, after = getattr(found, column), getattr(left, column)
                if before is not None and after is not None and abs(after - before) > noise:
                    gas = column.split("_")[0].upper()
                    yield coded("left_differs_without_work", rate=found.rate, gas=gas, found=before, left=after)


def _fuel(visit: Visit) -> Iterator[Coded]:
    known = visit.appliance.burns_on(visit.local_date)
    if visit.burnt != known.fuel:
        yield coded("fuel_differs", fuel=visit.fuel, known_fuel=known.name)
    if any(each.kind == "gas_conversion" for each in visit.work.all()):
        yield coded("gas_conversion", fuel=visit.fuel)


def _out_of_use(visit: Visit) -> Iterator[Coded]:
    """It was fired, so it is in use again, and its required checks are suspended until somebody records that."""
    if visit.outcome == Visit.Outcome.NOT_TESTED:
        return
    open_since = visit.appliance.out_of_use.filter(ends__isnull=True, begins__lte=visit.local_date).first()
    if open_since:
        yield coded("tested_while_out_of_use", day=open_since.begins)


def _data_plate(visit: Visit) -> Iterator[Coded]:
    seen, known = visit.data_plate.get("serial_seen", ""), visit.appliance.serial
    if seen and known and seen.replace(" ", "").lower() != known.replace(" ", "").lower():
        yield coded("serial_differs", seen=seen, known=known)
    if visit.outcome != Visit.Outcome.NOT_TESTED and not visit.data_plate.get("confirmed"):
        yield coded("plate_not_confirmed")


def _left_running(visit: Visit, turned_out: TurnedOut) -> Iterator[Coded]:
    if visit.unsafe and visit.disposition == Visit.Disposition.IN_USE:
        yield coded("unsafe_left_in_use")
    elif turned_out.stop_as_left and visit.disposition == Visit.Disposition.IN_USE:
        yield coded("stop_level_left_in_use")
    if visit.disposition in (Visit.Disposition.OFF, Visit.Disposition.ISOLATED) and not visit.unsafe:
        yield coded("left_off", state=str(visit.disposition))


def _rates(visit: Visit, readings: list[Reading], turned_out: TurnedOut) -> Iterator[Coded]:
    version = visit.appliance.sheet.current if visit.appliance.sheet else None
    if version is None:
        yield coded("no_sheet")
        return
    rates = version.content["rates"]
    for rate in sorted({each.rate for each in readings} - set(rates)):
        yield coded("rate_unknown", rates=list(rates), rate=rate)
    explained = {each["rate"] for each in visit.not_done}
    missing = [rate for rate in rates if rate not in {each.rate for each in readings} | explained]
    if visit.outcome == Visit.Outcome.TESTED and missing and not turned_out.stop:
        yield coded("rates_missing", rates=missing)


def _seen_milder(visit: Visit, turned_out: TurnedOut) -> Iterator[Coded]:
    if visit.card_seen.get("outcome") == "within" and turned_out.outcome == "outside":
        yield coded("phone_was_milder")
