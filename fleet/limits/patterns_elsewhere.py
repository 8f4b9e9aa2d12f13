"""Patterns that need more than one visit: copied figures, a site or an analyser that moved as a whole.

Each returns its diagnosis with the ids that went in, so that it can be made again; None where the pattern doesn't hold
or isn't among those given.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fleet.limits.patterns import DECIMALS, Diagnosis, Pattern, compared, diagnosis_of, number

Row = Mapping[str, Any]


def copied_readings(rows: Sequence[Row], others: Sequence[Row], patterns: Sequence[Pattern]) -> Diagnosis | None:
    """Readings that agree to the digit, in four quantities or more, with readings of another visit or appliance.

    rows, others : readings with "id", "number" (in its visit) and the figures as read. Named is the pair
    that agrees in most; `inputs` every reading of every such pair.
    """
    pattern = _row("DX23", patterns)
    if pattern is None:
        return None
    least = _threshold(pattern, "least_equal_quantities")
    pairs = [(compared(row, other)[0], row, other) for row in rows for other in others if row["id"] != other["id"]]
    copied = [pair for pair in pairs if pair[0] >= least]
    if not copied:
        return None
    equal, row, other = min(copied, key=lambda pair: (-pair[0], str(pair[1]["id"]), str(pair[2]["id"])))
    named = {"reading": str(row["number"]), "other_reading": str(other["number"])}
    inputs = {"readings": _ids(pair[1]["id"] for pair in copied), "others": _ids(pair[2]["id"] for pair in copied)}
    return diagnosis_of(pattern, {"equal_quantities": float(equal)}, named, inputs)


def site_shift(changes: Sequence[Row], patterns: Sequence[Pattern]) -> Diagnosis | None:
    """Three or more appliances of one site whose O2 moved the same way, by half a point on average or more.

    changes : "visit", "appliance" and "change_pct" (points of O2 as found since last left); an appliance with several
    counts once, by their mean.
    """
    pattern = _row("DX24", patterns)
    known = _known(changes)
    if pattern is None or not known:
        return None
    by_appliance: dict[str, list[float]] = defaultdict(list)
    for change in known:
        by_appliance[str(change["appliance"])].append(float(change["change_pct"]))
    moved = [_mean(each) for each in by_appliance.values()]
    mean = _mean(moved)
    one_way = all(each > 0 for each in moved) or all(each < 0 for each in moved)
    enough = len(moved) >= _threshold(pattern, "least_appliances")
    if not (one_way and enough and abs(mean) >= _threshold(pattern, "mean_change_pct")):
        return None
    figures = {"appliances": float(len(moved)), "mean_change_pct": mean}
    return diagnosis_of(pattern, figures, {}, _inputs(known, "visit", "appliance"))


def analyser_shift(changes: Sequence[Row], patterns: Sequence[Pattern]) -> Diagnosis | None:
    """Ten or more visits in two buildings or more where one analyser read O2 0.4 points off what was last left.

    changes : "visit", "appliance", "building" and "change_pct" (points of O2), all read with this analyser.
    """
    pattern = _row("DX25", patterns)
    known = _known(changes)
    if pattern is None or not known:
        return None
    mean = _mean([float(change["change_pct"]) for change in known])
    buildings = len({str(change["building"]) for change in known})
    enough = len(known) >= _threshold(pattern, "least_changes") and buildings >= _threshold(pattern, "least_buildings")
    if not (enough and abs(mean) >= _threshold(pattern, "mean_change_pct")):
        return None
    figures = {"changes": float(len(known)), "buildings": float(buildings), "mean_change_pct": mean}
    return diagnosis_of(pattern, figures, {}, _inputs(known, "visit", "appliance", "building"))


def _row(wanted: str, patterns: Sequence[Pattern]) -> Pattern | None:
    return next((pattern for pattern in patterns if pattern["id"] == wanted), None)


def _threshold(pattern: Pattern, name: str) -> float:
    if name not in pattern["thresholds"]:
        raise ValueError(f"pattern {pattern['id']} lacks the threshold {name!r}")
    return float(pattern["thresholds"][name])


def _known(changes: Sequence[Row]) -> list[Row]:
    return [change for change in changes if not math.isnan(number(change["change_pct"]))]


def _mean(values: Sequence[float]) -> float:
    return round(math.fsum(values) / len(values), DECIMALS)


def _ids(values: Iterable[Any]) -> list[str]:
    return sorted({str(value) for value in values})


def _inputs(changes: Sequence[Row], *names: str) -> dict[str, list[str]]:
    return {f"{name}s": _ids(change[name] for change in changes) for name in names}
