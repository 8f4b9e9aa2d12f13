"""The contractor's settings that have consequences: which a change touches, and the digest of what was shown."""

from collections.abc import Mapping
from typing import Any

from fleet.evidence import canonical_bytes, sha256_hex
from fleet.models import Contractor

TUNED = frozenset(
    {"accepted_risk", "accepted_risk_co", "accepted_risk_rise", "flag_at", "extra_visits_a_week", "outside_within_days",
     "repair_within_days"}
)  # fmt: skip


def digest_of(version: int, changes: Mapping[str, Any]) -> str:
    """Of the settings that would change, on top of this version."""
    plain = {name: _plain(changes[name]) for name in sorted(changes) if name in TUNED}
    return sha256_hex(canonical_bytes({"version": version, "changes": plain}))


def _plain(value: Any) -> Any:
    """As text: canonical bytes hold no floats."""
    return {name: str(each) for name, each in value.items()} if isinstance(value, Mapping) else f"{float(value):g}"


def tuned(contractor: Contractor, changes: Mapping[str, Any]) -> dict[str, Any]:
    """The settings with consequences that these changes really change."""
    return {name: value for name, value in changes.items() if name in TUNED and value != getattr(contractor, name)}
