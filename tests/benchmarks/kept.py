"""Our own figures as they were kept, and which of a new run are worse.

Only ratios are compared: a peer measured in the same run takes the machine out of the comparison.
"""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

Figure = Mapping[str, Any]

ALLOWED_LOSS = 0.25


def read_kept(path: Path) -> dict[str, Figure]:
    """The kept figures by name; none before the first were kept."""
    if not path.exists():
        return {}
    kept: dict[str, Figure] = json.loads(path.read_text())["figures"]
    return kept


def keep(figures: Sequence[Figure], machine: Mapping[str, Any], path: Path) -> None:
    """Put these figures in the place of the kept ones of the same names; others stay."""
    new = {each["name"]: {key: value for key, value in each.items() if key != "name"} for each in figures}
    kept = dict(sorted((read_kept(path) | new).items()))
    path.write_text(json.dumps({"machine": machine, "figures": kept}, indent=1, ensure_ascii=False) + "\n")


def worse(figures: Sequence[Figure], kept: Mapping[str, Figure], allowed_loss: float = ALLOWED_LOSS) -> list[str]:
    """A sentence for each figure whose ratio fell by more than the allowed share, or that can't be compared any more.

    >>> before = {"drift.fit": {"ratio_to": "peer", "ratio": 5.0}}
    >>> worse([{"name": "drift.fit", "ratio_to": "peer", "ratio": 3.0}], before)
    ['drift.fit: 3 times better than peer, 5 when kept']
    """
    said = []
    for figure in figures:
        before = kept.get(figure["name"])
        if before is None or before["ratio"] is None:
            continue
        if figure["ratio_to"] != before["ratio_to"]:
            said.append(f"{figure['name']}: kept against {before['ratio_to']}, measured against {figure['ratio_to']}")
        elif figure["ratio"] < before["ratio"] * (1 - allowed_loss):
            said.append(
                f"{figure['name']}: {figure['ratio']:.3g} times better than {figure['ratio_to']}, "
                f"{before['ratio']:.3g} when kept"
            )
    return said


def missing(figures: Sequence[Figure], kept: Mapping[str, Figure]) -> list[str]:
    """Names that were kept and are not measured any more."""
    return sorted(set(kept) - {each["name"] for each in figures})
