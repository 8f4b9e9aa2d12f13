"""The contractor's choices that have consequences: which of them a change touches, and the digest of what was shown."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext_lazy

from fleet.evidence import canonical_bytes, sha256_hex
from fleet.models import Contractor

TUNED = {
    "accepted_risk": gettext_lazy("accepted risk of being outside"),
    "accepted_risk_co": gettext_lazy("accepted risk of CO beyond a limit"),
    "accepted_risk_rise": gettext_lazy("accepted risk of a flue too hot"),
    "flag_at": gettext_lazy("chance from which a drift flag opens"),
    "extra_visits_a_week": gettext_lazy("extra visits a week"),
    "outside_within_days": gettext_lazy("days within which an appliance left outside is seen"),
    "repair_within_days": gettext_lazy("days within which a defect is repaired"),
}


def digest_of(version: int, changes: Mapping[str, Any]) -> str:
    """Of the choices that would change, on top of this version."""
    plain = {name: _plain(changes[name]) for name in sorted(changes) if name in TUNED}
    return sha256_hex(canonical_bytes({"version": version, "changes": plain}))


def _plain(value: Any) -> Any:
    """As text: canonical bytes hold no floats."""
    return {name: str(each) for name, each in value.items()} if isinstance(value, Mapping) else f"{float(value):g}"


def tuned(contractor: Contractor, changes: Mapping[str, Any]) -> dict[str, Any]:
    """The choices with consequences that these changes really change."""
    return {name: value for name, value in changes.items() if name in TUNED and value != getattr(contractor, name)}
