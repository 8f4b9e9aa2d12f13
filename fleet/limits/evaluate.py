"""The evaluator: a card and the readings of a visit give verdicts. Plain arithmetic, no fuel, no clock.

Together with `cases`, `sentences` and `decision.decide` this is all that a port to another language needs.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from fleet.limits.cases import ROOM, Case, doubt_about, qualifier, read_cases
from fleet.limits.decision import decide
from fleet.limits.sentences import figure, sentence, where
from fleet.limits.verdicts import (
    CANNOT_TELL,
    COPIED,
    NOT_JUDGED,
    OUTSIDE,
    WITHIN,
    Verdict,
    Verdicts,
    in_order,
)

Row = Mapping[str, Any]
Card = Mapping[str, Any]
Value = float | str | None

ROW_GROUPS = ("stop_lines", "bands", "ceilings", "limits")
CARD_VERSION = 1
DERIVED = (
    *("key", "doubt", "derived"),
    *("o2_pct", "co2_pct", "co_air_free_ppm", "co_co2_ratio", "excess_air_ratio"),
)
REPEAT = "repeat at a proper sampling point"


def evaluate(card: Card, readings: Sequence[Mapping[str, Any]]) -> Verdicts:
    """Every reading of one visit against every row of the card that it meets, strictest first.

    card : as `fleet.limits.card` makes it, also after a round trip through JSON.
    readings : dicts with key, rate, phase ("as found", "as left", "check"), casing, sampling_point,
        rate_proven, void, taken_order, qualifiers {quantity: "=", "more than", "less than", "not measured" or
        "sensor fault"} and the values in the units of their names (o2_pct, co2_pct, co_ppm, nox_ppm,
        flue_temp_c, ambient_co_ppm, ambient_co_before_ppm, flue_loss_pct, ...) or None. Further keys that
        are used when there: adjusted_before, steady (False only where it was seen not to be), flame ("stable"
        or else), intake_o2_pct, oil_derivatives, spillage_or_condensation, co_mg_per_kwh, nox_mg_per_kwh.
        Ambient CO that was read apart from any reading, as before and after the visit, is a case of its own with
        sampling point "room", no rate and only ambient_co_ppm; nothing of the flue is held against it.

    A target is judged only on a proven rate, in its own casing, at the appliance's own sampling point and
    from a reading that is neither void nor unsteady. Everything else is judged on every reading it names; a
    doubtful one may be found outside, never within. ValueError for a card of another version.
    """
    if card["card_version"] != CARD_VERSION:
        raise ValueError(f"this evaluator reads cards of version {CARD_VERSION}, not {card['card_version']}")
    cases = read_cases(card, readings)
    rows = [row for group in ROW_GROUPS for row in card[group]]
    verdicts = [v for row in rows if row["op"] != "missing" for v in _judge_row(row, cases, card)]
    stop = any(verdict.stop for verdict in verdicts)
    verdicts += [_judge_presence(row, cases, stop) for row in rows if row["op"] == "missing"]
    verdicts += [_too_dilute(card, case, stop) for case in cases if case["too_dilute"]]
    return Verdicts(in_order(verdicts), tuple({name: case.get(name) for name in DERIVED} for case in cases))


def _judge_row(row: Row, cases: Sequence[Case], card: Card) -> list[Verdict]:
    """One verdict for each reading that the row can judge, or a single one that says what is needed."""
    if row["measure"] is None:
        return [_verdict(row, None, NOT_JUDGED, f"needs {row['needs']}")]
    verdicts = [_judge_case(row, case, card) for case in cases if _meets(row, case)]
    needs = [_verdict(row, None, NOT_JUDGED, f"needs {row['label']}{where(row)}")]
    return [verdict for verdict in verdicts if verdict] or needs


def _meets(row: Row, case: Case) -> bool:
    at_rate = row["rates"] is None or case.get("rate") in row["rates"]
    in_place = case.get("sampling_point") != ROOM or not row["measure"]["in_flue"]
    return in_place and at_rate and (row["phases"] is None or case.get("phase") in row["phases"])


def _judge_case(row: Row, case: Case, card: Card) -> Verdict | None:
    value, said, scale = measured(row["measure"], case, card["fuel"])
    if value is None:
        unread = f"no {row['label']} read"
        return _verdict(row, case, NOT_JUDGED, unread) if row["every_reading"] else None
    doubt = doubt_about(case, in_flue=row["measure"]["in_flue"]) or _rate_doubt(row, case)
    if row["kind"] == "band" and (unfit := doubt or _casing_doubt(row, case)):
        return _verdict(row, case, NOT_JUDGED, unfit, value, said)
    fires = _fires(row, case, value, said, scale, card["analyser"]["accuracy"])
    outcome, reason = _outcome(row, fires, value, said, doubt)
    return _verdict(row, case, outcome, reason, value, said)


def _rate_doubt(row: Row, case: Case) -> str:
    """A row for named rates is kept only by a reading whose rate is proven."""
    return "the rate isn't proven" if row["rates"] is not None and not case.get("rate_proven") else ""


def _casing_doubt(row: Row, case: Case) -> str:
    if row["casing"] in (None, case.get("casing")):
        return ""
    return f"the target is for casing {row['casing']}, read with casing {case.get('casing') or 'not recorded'}"


def _outcome(row: Row, fires: bool | None, value: Value, said: str, doubt: str) -> tuple[str, str]:
    """The outcome and its reason: what fired stands; what is doubtful never counts as kept."""
    unrecorded = f"{', '.join(row['unrecorded'])} not recorded" if row["unrecorded"] else ""
    if unrecorded and not (fires and row["stop"]):
        return CANNOT_TELL, f"{unrecorded}, so whether this limit applies isn't known"
    if row["range_end"] is not None and isinstance(value, float) and value > row["range_end"]:
        return NOT_JUDGED, "above this range, where a stricter limit decides"
    if fires:
        return OUTSIDE, "; ".join(filter(None, (unrecorded, doubt)))
    if doubt or said == "at least":
        return NOT_JUDGED, doubt or "neither O2 nor CO2 read"
    return (CANNOT_TELL, _undecided(row, value, said)) if fires is None else (WITHIN, "")


def _undecided(row: Row, value: Value, said: str) -> str:
    if said != "=":
        return f"the reading says only {said} {figure(value)}"
    return f"the {row['decision_rule']} rule can't with the analyser's recorded accuracy"


def _fires(row: Row, case: Case, value: Value, said: str, scale: float, accuracy: Row) -> bool | None:
    if row["op"] == "!=":
        return bool(value != row["limit"])
    if not isinstance(value, float):
        raise ValueError(f"{row['measure']['field']} must be a number, not {value!r}")
    if said == "more than" and row["upper"] is not None:
        return True  # over-range: the instrument gave up, which never counts as kept
    rule = row["decision_rule"] if said == "=" else "simple"
    return decide(
        -math.inf if said == "less than" else value,
        math.inf if said in ("at least", "more than") else value,
        row["lower"],
        row["upper"],
        rule=rule,
        expanded_uncertainty=_uncertainty(row["measure"], case, value, scale, accuracy),
        upper_open=row["upper_open"],
    )


def measured(measure: Row, case: Case, fuel: Row) -> tuple[Value, str, float]:
    """A reading's value on a row's basis, its qualifier, and the scale from the field to that value.

    Without a usable O2 (or CO2) a concentration is "at least" what it would be in undiluted gas.
    """
    raw, o2, co2 = case.get(measure["field"]), case["o2_pct"], case["co2_pct"]
    if raw is None or isinstance(raw, str):
        return raw, "=", 1.0
    said, scale, bound = qualifier(case, measure["field"]), measure["factor"], False
    if measure["over_co2"]:
        bound = case["too_dilute"] or co2 is None or co2 <= 0
        scale /= (fuel["co2_max_pct"] if bound else co2) * 1e4
    elif measure["reference_o2_pct"] is not None:
        bound, in_air = case["too_dilute"] or o2 is None, measure["o2_in_air_pct"]
        scale *= (in_air - measure["reference_o2_pct"]) / (in_air - (0.0 if bound else o2))
    value = 0.0 if bound and said == "less than" else raw * scale
    if measure["whole"]:
        value = float(math.floor(value + 0.5))
    return value, "at least" if bound and said != "more than" else said, scale


def _uncertainty(measure: Row, case: Case, value: float, scale: float, accuracy: Row) -> float | None:
    """Expanded uncertainty of a value: the analyser's accuracy, with that of the O2 or CO2 that scaled it."""
    by = "co2_pct" if measure["over_co2"] else "o2_pct" if measure["reference_o2_pct"] is not None else None
    own = _expanded(measure["field"], case, accuracy)
    other = _expanded(by, case, accuracy) if by else 0.0
    if own is None or other is None or case["too_dilute"]:
        return None
    span = 1.0 if by is None else case[by] if measure["over_co2"] else measure["o2_in_air_pct"] - case[by]
    return math.hypot(own * scale, value * other / span)


def _expanded(field: str, case: Case, accuracy: Row) -> float | None:
    figures, value = accuracy.get(field), case.get(field)
    if figures is None or value is None:
        return None
    return float(max(figures["absolute"], figures["relative_pct"] / 100 * abs(value)))


def _judge_presence(row: Row, cases: Sequence[Case], stop: bool) -> Verdict:
    """Whether what must be on the record is there; after a stop nothing asks for another firing."""
    pair = row["quantity"] == "co_and_o2_pair"
    read = [c for c in cases if not c.get("void") and c.get("co_ppm") is not None]
    if pair:
        read = [case for case in read if case["o2_pct"] is not None]
    found = {case.get("rate") for case in read if not pair or case.get("phase") == "as found"}
    left = {case.get("rate") for case in read if not pair or case.get("phase") == "as left"}
    if found & left:
        return _verdict(row, None, WITHIN, "")
    if stop:
        return _verdict(row, None, NOT_JUDGED, "stopped for safety")
    return _verdict(row, None, OUTSIDE, f"{row['label']} not on record")


def _too_dilute(card: Card, case: Case, stop: bool) -> Verdict:
    """Raw CO of a sample that is mostly air, and what to do about it unless the firing has ended."""
    row = {**card["stop_lines"][0], "quantity": "co", "label": "CO", "basis": "as_measured", "limit_text": ""}
    row["action"] = "" if stop else REPEAT
    reason = f"O2 {figure(case['o2_pct'])} % is mostly air, so there is no air-free figure"
    said = "not measured" if case.get("co_ppm") is None else qualifier(case, "co_ppm")
    return _verdict(row, case, NOT_JUDGED, reason if stop else f"{reason}: {REPEAT}", case.get("co_ppm"), said)


def _verdict(
    row: Row, case: Case | None, outcome: str, reason: str, value: Value = None, said: str = "not measured"
) -> Verdict:
    reading = case or {}
    return Verdict(
        **{name: row[name] for name in COPIED},
        reading_key=reading.get("key"),
        rate=reading.get("rate"),
        phase=reading.get("phase"),
        value=value,
        qualifier=said,
        outcome=outcome,
        reason=reason,
        sentence=sentence(row, reading, value, said, outcome, reason),
        stop=outcome == OUTSIDE and row["stop"],
    )
