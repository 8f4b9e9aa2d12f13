"""CO in the room before and after a visit, as the evaluator wants it: judged though no reading shows it."""

import math
from typing import Any

from fleet.limits.cases import ROOM
from fleet.models import Visit


def ambient_cases(visit: Visit) -> list[dict[str, Any]]:
    """A case for each of ambient CO before ("before", as found) and after ("after") that was read.

    "after" is as left only beside a reading that counts as left: else the room alone would stand for the burner.
    """
    left = any(each.counted_phase == "as left" for each in visit.readings.all())
    read = [
        ("before", visit.ambient_co_before_ppm, "as found", -math.inf),
        ("after", visit.ambient_co_after_ppm, "as left" if left else "as found", math.inf),
    ]
    return [
        {
            "key": key,
            "phase": phase,
            "sampling_point": ROOM,
            "taken_order": order,
            "ambient_co_ppm": ambient_co_ppm,
            "qualifiers": {"ambient_co": visit.condition_qualifiers.get(f"ambient_co_{key}", "=")},
        }
        for key, ambient_co_ppm, phase, order in read
        if ambient_co_ppm is not None
    ]
