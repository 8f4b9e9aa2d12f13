"""How a verdict is worded: figures against recorded limits, never a word about being safe or lawful."""

from collections.abc import Mapping
from typing import Any

Row = Mapping[str, Any]

LARGEST_SHORT_FIGURE = 1e5
LEAST_DIGITS, MOST_DIGITS = 4, 7
# Only figures that lie so near (relative) can look alike in four digits.
NEAR = 1e-3
NOT_REVIEWED = "set not reviewed"
EVIDENCE_WORDS = {
    "unverified": "limit unverified",
    "own": "our own figure, no outside source",
    "official_text_read": "",
    "quoted_elsewhere": "",
}


def figure(value: float | str | None, *limits: float | None) -> str:
    """A number in four significant digits, or as many as it takes not to look like a limit that it isn't.

    >>> figure(97.036), figure(250.04, 250.0)
    ('97.04', '250.04')
    """
    if value is None or isinstance(value, str):
        return value or "-"
    if abs(value) >= LARGEST_SHORT_FIGURE:
        return f"{value:.0f}"
    near = NEAR * abs(value)
    others = [limit for limit in limits if limit is not None and limit != value and abs(limit - value) <= near]
    for digits in range(LEAST_DIGITS, MOST_DIGITS):
        shown = f"{value:.{digits}g}"
        if shown not in [f"{limit:.{digits}g}" for limit in others]:
            return shown
    return f"{value:.{MOST_DIGITS}g}"


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
        said += f" {about}{figure(value, row['lower'], row['upper'])} {row['unit']}".rstrip()
    if rate := reading.get("rate"):
        said += f" at {rate}"
    if phase := reading.get("phase"):
        said += f", {phase}"
    return f"{said} (limit {row['limit_text']} {row['unit']}".rstrip() + ")" if row["limit_text"] else said


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
