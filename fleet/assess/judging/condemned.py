"""What a visit holds against an appliance, so that a correction can be asked what it takes back."""

from typing import Any

from fleet.models import Judgement, Visit

# From the mildest on: a graver word for a defect takes nothing back.
SEVERITIES = ("note", "repair", "urgent", "unsafe")
TAKEN_OFF = (Visit.Disposition.OFF, Visit.Disposition.ISOLATED)
Held = frozenset[tuple[Any, ...]]


def held_against(visit: Visit, judgement: Judgement) -> Held:
    """Each thing as a row whose first is its code: declared unsafe, left off, a limit or stop level not kept, a defect
    found and one left, a check that failed. Of which appliance it is belongs to each."""
    rows = {*_by_word(visit), *_by_defect(visit)}
    for each in judgement.fired:
        rows.add(("outside", each.set_id, each.limit_id, each.quantity, each.rate, each.phase))
        if each.stop:
            rows.add(("stop_level", each.quantity, each.rate, each.phase))
    return frozenset((code, str(visit.appliance_id), *said) for code, *said in rows)


def _by_word(visit: Visit) -> set[tuple[Any, ...]]:
    rows: set[tuple[Any, ...]] = {
        ("failed_check", name) for name, answer in visit.inspection_points.items() if answer is False
    }
    if visit.unsafe:
        rows.add(("unsafe",))
    if visit.disposition in TAKEN_OFF:
        rows.add(("left_off",))
    return rows


def _by_defect(visit: Visit) -> set[tuple[Any, ...]]:
    rows: set[tuple[Any, ...]] = set()
    for each in visit.defects.all():
        grave = SEVERITIES.index(each.severity) if each.severity in SEVERITIES else 0
        for severity in SEVERITIES[1 : grave + 1]:
            rows.add(("defect", each.what, severity))
            if not each.done:
                rows.add(("defect_left", each.what, severity))
    return rows


def taken_back(before: Held, after: Held) -> list[str]:
    """Codes of what was held against the appliance before and is no longer; empty where nothing is."""
    return sorted({code for code, *_said in before - after})
