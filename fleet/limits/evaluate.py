"""The evaluator: a card and the readings of a visit give verdicts. Plain arithmetic, no fuel, no clock.

Together with `cases` and `decision.decide` this is all that a port to another language needs;
the probability of conformity is for people and decides nothing.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from fleet.coded import as_row
from fleet.limits.card import CARD_VERSION, Card
from fleet.limits.cases import (
    NO_SAMPLE_O2_PCT,
    ROOM,
    SIGN_CO_PPM,
    Case,
    Value,
    least_of_diluted,
    measured,
    qualifier,
    read_cases,
)
from fleet.limits.decision import COVERAGE_FACTOR, conformance_probability, decide
from fleet.limits.quantities import Measure
from fleet.limits.rows import Row
from fleet.limits.verdicts import CANNOT_TELL, NOT_JUDGED, OUTSIDE, WITHIN, Verdict, Verdicts, in_order

Reason = list[Any]
PHASES = ("as_found", "as_left")


def evaluate(card: Card, readings: Sequence[Mapping[str, Any]]) -> Verdicts:
    """Every reading of one visit against every row of the card that it meets, strictest first.

    readings : dicts with key, rate, phase ("as_found", "as_left", "between"), casing, sampling_point,
        rate_proven, invalid, taken_order, qualifiers {quantity: "=", "more_than", "less_than", "not_measured" or
        "sensor_fault"} and the values in the units of their names (o2_pct, co2_pct, co_ppm, nox_ppm,
        flue_temp_c, ambient_co_ppm, ambient_co_before_ppm, flue_loss_pct, ...) or None. Further keys that
        are used when there: adjusted_before, work_after (the adjuster of each piece of work after it that moved
        combustion, "" for other work), steady (False only where it was seen not to be), flame ("stable"
        or else), intake_o2_pct, oil_derivatives, spillage_or_condensation, co_mg_per_kwh, nox_mg_per_kwh.
        Ambient CO that was read apart from any reading, as before and after the visit, is a case of its own with
        sampling point "room", no rate and only ambient_co_ppm; nothing of the flue is held against it.

    A target is judged only on a proven rate, in its own casing, at the appliance's own sampling point and
    from a reading that is neither invalid nor unsteady; the order of two rates on the last such reading of each, as
    found and as left. Everything else is judged on every reading it names; a doubtful one may be found outside, never
    within. ValueError for a card of another version.
    """
    if card.card_version != CARD_VERSION:
        raise ValueError(f"this evaluator reads cards of version {CARD_VERSION}, not {card.card_version}")
    cases = read_cases(card, readings)
    rows = card.rows
    verdicts = [v for row in rows if row.op != "missing" for v in _judge_row(row, cases, card)]
    stop = any(verdict.stop for verdict in verdicts)
    verdicts += [_judge_presence(row, cases, stop) for row in rows if row.op == "missing"]
    verdicts += [_judge_dilution(card, case, stop) for case in cases if case["too_dilute"]]
    return Verdicts(in_order(verdicts))


def _judge_row(row: Row, cases: Sequence[Case], card: Card) -> list[Verdict]:
    """One verdict for each reading (of an order: each phase) that the row can judge, or one that says what it needs."""
    measure = row.measure
    if measure is None:
        return [_verdict(row, {}, NOT_JUDGED, [row.needs])]
    met = [case for case in cases if _meets(row, measure, case)]
    is_order = row.kind == "order"
    found = _judge_order(row, measure, met) if is_order else [_judge_case(row, measure, case, card) for case in met]
    judged = [verdict for verdict in found if verdict]
    return judged or [_verdict(row, {}, NOT_JUDGED, [as_row("needs_reading", **_where(row))])]


def _where(row: Row) -> dict[str, Any]:
    """The rate and the phases that a source names, empty where it names none."""
    return {"at": "" if row.rates is None else row.rate_text, "phases": list(row.phases or ())}


def _meets(row: Row, measure: Measure, case: Case) -> bool:
    at_rate = row.rates is None or case.get("rate") in row.rates
    in_place = case.get("sampling_point") != ROOM or not measure.in_flue
    return in_place and at_rate and (row.phases is None or case.get("phase") in row.phases or _stands(row.phases, case))


def _stands(phases: Sequence[str], case: Case) -> bool:
    """Left as found counts as left."""
    return "as_left" in phases and bool(case["stands_as_left"])


def _judge_case(row: Row, measure: Measure, case: Case, card: Card) -> Verdict | None:
    value, said, uncertainty = measured(measure, case, card)
    if value is None:
        return _verdict(row, case, NOT_JUDGED, [as_row("not_read")]) if row.every_reading else None
    doubt = _doubt(row, measure, case)
    outcome, reasons = _outcome(row, _fires(row, value, said, uncertainty), value, said, doubt)
    plain = said == "=" and not doubt and outcome != NOT_JUDGED
    conformity = _conformity(row, value, uncertainty) if plain else None
    return _verdict(row, case, outcome, reasons, value, said, conformity)


def _doubt(row: Row, measure: Measure, case: Case) -> Reason | None:
    """Why this reading can't keep the row: its own doubt, an unproven rate where the row names one, another casing."""
    if doubt := case["doubt"] if measure.in_flue else case["doubt_anywhere"]:
        return list(doubt)
    if row.rates is not None and not case.get("rate_proven"):
        return as_row("rate_not_proven")
    if row.casing in (None, case.get("casing")):
        return None
    return as_row("other_casing", casing=row.casing, read_with=case.get("casing") or "")


def _outcome(row: Row, fires: bool | None, value: Value, said: str, doubt: Reason | None) -> tuple[str, list[Reason]]:
    """The outcome and its reasons: what fired stands, but for a target's band; what is doubtful is never kept."""
    unrecorded, doubts = list(row.unrecorded), [doubt] if doubt else []
    if unrecorded and not (fires and row.stop):
        return CANNOT_TELL, [as_row("applies_unknown", facts=unrecorded)]
    if row.range_end is not None and isinstance(value, float) and value > row.range_end:
        return NOT_JUDGED, [as_row("above_range")]
    if fires and not (doubt and row.kind == "band"):
        return OUTSIDE, [*([as_row("facts_not_recorded", facts=unrecorded)] if unrecorded else []), *doubts]
    if doubt or said == "at_least":
        return NOT_JUDGED, doubts or [as_row("o2_and_co2_not_read")]
    if fires is None:
        return CANNOT_TELL, [as_row("only_a_bound" if said != "=" else "beyond_accuracy")]
    return WITHIN, []


def _fires(row: Row, value: Value, said: str, uncertainty: float | None) -> bool | None:
    if row.op == "!=":
        return bool(value != row.limit)
    if not isinstance(value, float):
        raise ValueError(f"{row.quantity} must be a number, not {value!r}")
    if said == "more_than" and row.upper is not None:
        return True  # over-range: the instrument gave up, which never counts as kept
    return decide(
        -math.inf if said == "less_than" else value,
        math.inf if said in ("at_least", "more_than") else value,
        row.lower,
        row.upper,
        rule=row.decision_rule if said == "=" else "simple",
        expanded_uncertainty=uncertainty,
        upper_open=row.upper_open,
    )


def _conformity(row: Row, value: Value, expanded_uncertainty: float | None) -> float | None:
    """Probability that the true value keeps the row's figures; None for words and without an accuracy above zero."""
    if not isinstance(value, float) or not expanded_uncertainty:
        return None
    return round(conformance_probability(value, expanded_uncertainty / COVERAGE_FACTOR, row.lower, row.upper), 4)


def _judge_order(row: Row, measure: Measure, read: Sequence[Case]) -> list[Verdict]:
    """One verdict for each phase in which either of the two rates was read."""
    by_phase = {phase: [case for case in read if case.get("phase") == phase] for phase in PHASES}
    return [_judge_gap(row, measure, phase, cases) for phase, cases in by_phase.items() if cases]


def _judge_gap(row: Row, measure: Measure, phase: str, read: Sequence[Case]) -> Verdict:
    """By how much the last usable reading at one rate lies above that at the other, held against the least gap."""
    field, last, case = measure.field, dict[str, Case](), {"phase": phase}
    for rate in row.rates or ():
        at_rate = [each for each in read if each["rate"] == rate and each[field] is not None]
        usable = [each for each in at_rate if not _doubt(row, measure, each) and qualifier(each, field) == "="]
        if not usable:
            unread = as_row("not_a_plain_figure" if at_rate else "rate_not_read")
            code, figures = (at_rate and _doubt(row, measure, at_rate[-1])) or unread
            return _verdict(row, case, NOT_JUDGED, [[code, {**figures, "of_rate": rate}]])
        last[rate] = usable[-1]
    higher, lower = last.values()
    if higher.get("casing") != lower.get("casing"):
        return _verdict(row, case, NOT_JUDGED, [as_row("different_casings")])
    gap = float(higher[field] - lower[field])
    outcome = OUTSIDE if _fires(row, gap, "=", None) else WITHIN
    return _verdict(row, case, outcome, [], gap, "=")


def _judge_presence(row: Row, cases: Sequence[Case], stop: bool) -> Verdict:
    """Whether what must be on the record is there; after a stop nothing asks for another firing."""
    pair = row.quantity == "co_and_o2_pair"
    needed = ("co_ppm", "o2_pct") if pair else ("co_ppm",)
    read = [c for c in cases if not c.get("invalid") and all(c.get(name) is not None for name in needed)]
    found, left = ({c.get("rate") for c in read if not pair or c.get("phase") == phase} for phase in PHASES)
    if found & left:
        return _verdict(row, {}, WITHIN, [])
    if stop:
        return _verdict(row, {}, NOT_JUDGED, [as_row("stopped")])
    return _verdict(row, {}, OUTSIDE, [as_row("not_on_record")])


def _judge_dilution(card: Card, case: Case, stop: bool) -> Verdict:
    """Raw CO of a sample that is mostly air, and what to do about it unless the firing has ended."""
    row, co_ppm = card.dilution.but(asks="" if stop else _asks_of_diluted(card, case)), case.get("co_ppm")
    said = "not_measured" if co_ppm is None else qualifier(case, "co_ppm")
    return _verdict(row, case, NOT_JUDGED, [as_row("no_air_free_figure", o2_pct=case["o2_pct"])], co_ppm, said)


def _asks_of_diluted(card: Card, case: Case) -> str:
    """Before leaving where it is no sample of the flue, or where CO as read stands for more than a limit that stops."""
    if case["o2_pct"] >= NO_SAMPLE_O2_PCT:
        return "repeat_or_leave_off" if (case.get("co_ppm") or 0.0) > SIGN_CO_PPM else "repeat_before_leaving"
    doubted = any(
        row.upper is not None and least_of_diluted(row.measure, case, card, co_allowed=False) > row.upper
        for row in card.rows
        if row.stop and row.measure and not row.unrecorded
    )
    return "repeat_before_leaving" if doubted else card.dilution.asks


def _verdict(
    row: Row,
    case: Case,
    outcome: str,
    reasons: list[Any],
    value: Value = None,
    said: str = "not_measured",
    conformity: float | None = None,
) -> Verdict:
    fields = row.copied | {
        "reading_key": case.get("key"),
        "rate": case.get("rate"),
        "phase": case.get("phase"),
        "value": value,
        "qualifier": said,
        "outcome": outcome,
        "reasons": reasons,
        "stop": outcome == OUTSIDE and row.stop,
        "conformity": conformity,
    }
    return Verdict(fields)
