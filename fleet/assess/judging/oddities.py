"""What is odd about an accepted visit: each a small question, its answer a sentence for the office.

Field work is never refused for these: the technician did the work, the office repairs the record.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from django.utils.translation import gettext as _

from fleet.assess.judging.evidence import doubts_of
from fleet.combustion import identical_readings
from fleet.models import Reading, Visit
from fleet.numerals import limit_figure
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES, Quantity

# Repeatability of portable analysers: 0.3 points of O2, 0.2 of CO2 (Swiss margins 0.4 and 0.35, seen at second hand).
NOISE_PCT = {"o2_pct": 0.3, "co2_pct": 0.2}


@dataclass(frozen=True)
class Oddity:
    code: str
    sentence: str
    figures: dict[str, Any] = field(default_factory=dict)


def questions_for(visit: Visit, verdicts: dict[str, Any], now: datetime) -> list[Oddity]:
    """Every oddity of the visit, in a fixed order."""
    readings = list(visit.readings.all())
    found: list[Oddity] = []
    for question in (_evidence, _instruments, _values, _identical, _order, _times, _steadiness):
        found += question(visit, readings, now)
    found += [
        *_conditions(visit),
        *_changes_without_work(visit, readings),
        *_fuel(visit),
        *_data_plate(visit),
        *_out_of_use(visit),
        *_left_running(visit, verdicts),
    ]
    return [*found, *_rates(visit, readings, verdicts), *_seen_milder(visit, verdicts)]


def _instruments(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Oddity]:
    yield from _beyond_the_instrument(readings)
    phases = {
        phase: {each.analyser_given for each in readings if each.counted_phase == phase}
        for phase in ("as_found", "as_left")
    }
    if all(phases.values()) and phases["as_found"] != phases["as_left"]:
        yield Oddity("analyser_changed", "As found and as left were read with different analysers.")


def _beyond_the_instrument(readings: list[Reading]) -> Iterator[Oddity]:
    """A figure that the analyser named for the reading doesn't measure."""
    for reading in readings:
        if reading.analyser is None or not reading.analyser.measures:
            continue
        for name in ("o2", "co", "no", "nox"):
            read = getattr(reading, READING_QUANTITIES[name].column) is not None
            if read and name not in reading.analyser.measures:
                yield Oddity(
                    "analyser_does_not_measure",
                    f"Reading {reading.number} has {name.upper()}, which {reading.analyser.name} does not measure.",
                )


def _evidence(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Oddity]:
    """What makes the record no evidence by the register of now, and who answers for it."""
    yield from (Oddity(code, sentence) for code, sentence in doubts_of(visit))
    if visit.signed_by_id is None:
        yield Oddity("not_signed", "The visit is not signed by anybody on the register.")


def _values(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Oddity]:
    for reading in readings:
        for quantity in READING_QUANTITIES.values():
            value = getattr(reading, quantity.column)
            if value is not None and not quantity.low <= value <= quantity.high:
                shown = f"Reading {reading.number}: {quantity.label} {limit_figure(value, 0)}"
                yield Oddity(
                    "value_implausible",
                    f"{shown} is beyond what an instrument shows ({_range(quantity)}).",
                    {"reading": reading.number, quantity.column: value},
                )


def _range(quantity: Quantity) -> str:
    return f"{limit_figure(quantity.low, 0)} to {limit_figure(quantity.high, 0)}"


def _conditions(visit: Visit) -> Iterator[Oddity]:
    for quantity in CONDITION_QUANTITIES.values():
        value = getattr(visit, quantity.column)
        if value is not None and not quantity.low <= value <= quantity.high:
            said = f"{quantity.label} {limit_figure(value, 0)} is beyond what can be ({_range(quantity)})."
            yield Oddity("value_implausible", said, {quantity.column: value})


def _identical(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Oddity]:
    """Readings at two rates that agree to the last digit; at one rate the burner may simply have stayed as it was."""
    columns = [each.column for each in READING_QUANTITIES.values()]
    for one, other in identical_readings([{name: getattr(each, name) for name in columns} for each in readings]):
        first, second = readings[one], readings[other]
        if first.rate != second.rate:
            numbers = [first.number, second.number]
            said = f"Readings {numbers[0]} and {numbers[1]}, at two rates, agree to the last digit: was one copied?"
            yield Oddity("readings_identical", said, {"readings": numbers})


def _order(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Oddity]:
    for reading in readings:
        if reading.phase == "as_found" and reading.counted_phase != "as_found":
            yield Oddity(
                "as_found_after_work",
                f"Reading {reading.number} was called as found but follows work on the burner.",
            )
        if reading.phase == "as_left" and reading.counted_phase != "as_left":
            yield Oddity(
                "as_left_before_work",
                f"Reading {reading.number} was called as left, but work on the burner follows.",
            )


def _steadiness(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Oddity]:
    """Called steady, while what the analyser logged shows otherwise; the series counts."""
    for reading, figures in zip(readings, visit.judgement.derived, strict=True):
        shown = figures["steadiness"]
        seen = {"steady": True, "not_steady": False}.get(reading.steadiness)
        if shown and seen is not None and shown["overall"] is (not seen):
            why = next((each["reason"] for each in shown.values() if isinstance(each, dict) and each["reason"]), "")
            said = f"Reading {reading.number} was called {reading.steadiness}; its series shows otherwise: {why}"
            yield Oddity("steadiness_differs", said.rstrip(": ")[:500], {"reading": reading.number})


def _times(visit: Visit, readings: list[Reading], now: datetime) -> Iterator[Oddity]:
    taken = [each.taken_at for each in readings if each.taken_at]
    if any(moment > now + timedelta(hours=24) for moment in taken):
        yield Oddity("time_ahead", "A reading is dated more than a day ahead of its arrival here.")
    if any(later < earlier for earlier, later in pairwise(taken)):
        yield Oddity("times_out_of_order", "The readings' times don't follow their order.")


def _changes_without_work(visit: Visit, readings: list[Reading]) -> Iterator[Oddity]:
    if visit.work.all():
        return
    for found in (each for each in readings if each.counted_phase == "as_found"):
        for left in (each for each in readings if each.counted_phase == "as_left" and each.rate == found.rate):
            for column, noise in NOISE_PCT.items():
                before, after = getattr(found, column), getattr(left, column)
                if before is not None and after is not None and abs(after - before) > noise:
                    went = f"from {limit_figure(before, 0)} to {limit_figure(after, 0)}"
                    yield Oddity(
                        "left_differs_without_work",
                        f"At {found.rate}, {column.split('_')[0].upper()} went {went} with no work logged.",
                        {"found": before, "left": after},
                    )


def _fuel(visit: Visit) -> Iterator[Oddity]:
    known = visit.appliance.burns_on(visit.local_date)
    if visit.burnt != known.fuel:
        yield Oddity("fuel_differs", f"The visit says {visit.fuel} burnt; the register says {known.name}.")
    if any(each.kind == "gas_conversion" for each in visit.work.all()):
        yield Oddity("gas_conversion", f"A gas conversion: all its readings were judged as {visit.fuel}.")


def _out_of_use(visit: Visit) -> Iterator[Oddity]:
    """It was fired, so it is in use again, and its required checks are suspended until somebody records that."""
    if visit.outcome == Visit.Outcome.NOT_TESTED:
        return
    open_since = visit.appliance.out_of_use.filter(ends__isnull=True, begins__lte=visit.local_date).first()
    if open_since:
        said = _("It was tested, but is recorded as out of use since %s: record its restart.")
        yield Oddity("tested_while_out_of_use", said % f"{open_since.begins:%Y-%m-%d}")


def _data_plate(visit: Visit) -> Iterator[Oddity]:
    seen, known = visit.data_plate.get("serial_seen", ""), visit.appliance.serial
    if seen and known and seen.replace(" ", "").lower() != known.replace(" ", "").lower():
        yield Oddity("serial_differs", f"The plate shows serial {seen}; the register has {known}.")
    if visit.outcome != Visit.Outcome.NOT_TESTED and not visit.data_plate.get("confirmed"):
        yield Oddity("plate_not_confirmed", "The plate was not confirmed on arrival.")


def _left_running(visit: Visit, verdicts: dict[str, Any]) -> Iterator[Oddity]:
    if visit.unsafe and visit.disposition == Visit.Disposition.IN_USE:
        yield Oddity("unsafe_left_in_use", "It was declared unsafe and yet left in use.")
    elif verdicts.get("stop_as_left") and visit.disposition == Visit.Disposition.IN_USE:
        yield Oddity("stop_level_left_in_use", "A reading at stop level stands and it was left in use.")
    if visit.disposition in (Visit.Disposition.OFF, Visit.Disposition.ISOLATED) and not visit.unsafe:
        state = visit.get_disposition_display()
        yield Oddity("left_off", f"It was {state} without being declared unsafe: see why, and who was told.")


def _rates(visit: Visit, readings: list[Reading], verdicts: dict[str, Any]) -> Iterator[Oddity]:
    version = visit.appliance.sheet.current if visit.appliance.sheet else None
    if version is None:
        yield Oddity("no_sheet", "There is no settings sheet for the appliance: readings have no target.")
        return
    rates = version.content["rates"]
    for rate in sorted({each.rate for each in readings} - set(rates)):
        yield Oddity("rate_unknown", f"The sheet knows {', '.join(rates)}; a reading says {rate}.")
    explained = {each["rate"] for each in visit.not_done}
    missing = [rate for rate in rates if rate not in {each.rate for each in readings} | explained]
    if visit.outcome == Visit.Outcome.TESTED and missing and not verdicts["stop"]:
        yield Oddity("rates_missing", f"Called tested, but nothing was read at {', '.join(missing)}.")


def _seen_milder(visit: Visit, verdicts: dict[str, Any]) -> Iterator[Oddity]:
    if visit.card_seen.get("outcome") == "within" and verdicts["outcome"] == "outside":
        yield Oddity("phone_was_milder", "The phone showed within; judged here it is outside. Tell the technician.")
