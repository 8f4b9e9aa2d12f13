"""How a verdict is worded: figures against recorded limits, never a word about being safe or lawful."""

from collections.abc import Mapping
from typing import Any

from fleet.limits.quantities import decimals_of
from fleet.numerals import figure_apart

Row = Mapping[str, Any]

NOT_REVIEWED = "set not reviewed"
EVIDENCE_WORDS = {
    "unverified": "limit unverified",
    "own": "our own figure, no outside source",
    "official_text_read": "",
    "quoted_elsewhere": "",
}


def figure(value: float | str | None, quantity: str, *limits: float | None) -> str:
    """A value at its quantity's decimals, or as many more as it takes not to look like a limit that it isn't.

    >>> figure(97.036, "co_air_free"), figure(250.04, "co_air_free", 250.0)
    ('97', '250.04')
    """
    if value is None or isinstance(value, str):
        return value or "-"
    return figure_apart(value, decimals_of(quantity), [each for each in limits if each is not None])


def where(row: Row) -> str:
    """The rate and phase that a source names: " at nominal, as found"; empty where it names none."""
    at = "" if row["rates"] is None else f" at {row['rate_text']}"
    return at + ("" if row["phases"] is None else f", {' or '.join(row['phases'])}")


def sentence(
    row: Row, reading: Mapping[str, Any], value: float | str | None, qualifier: str, outcome: str, reason: str
) -> str:
    """The verdict as one sentence, with the set's version and how well its figures are known."""
    return f"{_subject(row, reading, value, qualifier)}: {_judgement(row, outcome, reason)}{_provenance(row)}."


def _subject(row: Row, reading: Mapping[str, Any], value: float | str | None, qualifier: str) -> str:
    said = row["label"]
    if value is not None:
        about = "" if qualifier == "=" else f"{qualifier} "
        said += f" {about}{figure(value, row['quantity'], row['lower'], row['upper'])}{_unit(row)}"
    if rate := reading.get("rate"):
        said += f" at {rate}"
    if phase := reading.get("phase"):
        said += f", {phase}"
    return f"{said} (limit {row['limit_text']}{_unit(row)})" if row["limit_text"] else said


def _unit(row: Row) -> str:
    """With the space before it; a plain number has none."""
    return "" if row["unit"] in ("", "1") else f" {row['unit']}"


def _judgement(row: Row, outcome: str, reason: str) -> str:
    if outcome == "not judged":
        return f"not judged: {reason}"
    if outcome == "cannot tell":
        return f"can't be decided: {reason}"
    words = f"{outcome} the limits of {row['set_name']} v{row['set_version']} as recorded"
    return f"{words} ({reason})" if reason else words


def _provenance(row: Row) -> str:
    """Said next to the verdict: a set that nobody has reviewed, a figure unverified or our own.

    Not of the contractor's stop lines: each has an evidence of its own, which is shown where they are listed.
    """
    if row["kind"] == "stop line":
        return ""
    evidence = EVIDENCE_WORDS.get(row["evidence"], row["evidence"])
    if row["review"] == "unreviewed":
        return f" [{NOT_REVIEWED}; {evidence}]" if evidence else f" [{NOT_REVIEWED}]"
    return f" [{evidence}]" if evidence else ""
