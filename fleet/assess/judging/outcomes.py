"""How a visit turned out, over all limits or by one set: one rule for every page, paper and statement."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _

from fleet.limits import standing
from fleet.models import Reading

# ---- what came of it ----

CO_QUANTITIES = ("co", "co_air_free")


def outcome_of(verdicts: Mapping[str, Any], readings: Sequence[Reading]) -> dict[str, Any]:
    """How the appliance was left, over all limits, and one sentence that says it.

    "outside" if anything that stands is outside; "within" only if CO was judged against the stop line at every rate
    read and no target or CO limit is left undecided; "in part" if something was judged within, but not all of that.
    """
    left, rates = standing(verdicts["verdicts"]), _rates_read(readings)
    outside = [each for each in left if each["outcome"] == "outside"]
    within = [each for each in left if each["outcome"] == "within"]
    if outside:
        outcome, summary = "outside", max(outside, key=lambda each: each["rank"])["sentence"]
    elif not (within and rates):
        outcome, summary = "not judged", _("No reading could be judged.")
    elif open_ends := _undecided(left, rates):
        said = _("Judged in part: %(within)s What could not be judged: %(rest)s.")
        outcome, summary = "in part", said % {"within": _within_words(within), "rest": "; ".join(open_ends[:4])}
    else:
        outcome, summary = "within", _within_words(within)
    return {"outcome": outcome, "summary": summary[:1000], "stop_as_left": any(each["stop"] for each in outside)}


def _undecided(left: Sequence[Mapping[str, Any]], rates: list[str]) -> list[str]:
    """What keeps a visit from being called within: CO not judged at a rate, or a target or CO limit undecided."""
    judged_co = {
        each["rate"]
        for each in left
        if each["kind"] == "stop line" and each["quantity"] in CO_QUANTITIES and each["outcome"] == "within"
    }
    missing = [_("CO at %s") % rate for rate in rates if rate not in judged_co]
    open_ends = [
        f"{each['label']} {_('at')} {each['rate']}" if each["rate"] else each["label"]
        for each in left
        if each["outcome"] in ("not judged", "cannot tell")
        and (each["kind"] in ("band", "order") or each["quantity"] in CO_QUANTITIES)
        and (each["kind"] == "order" or each["rate"] in rates)
    ]
    return list(dict.fromkeys([*missing, *open_ends]))


def _within_words(within: Sequence[Mapping[str, Any]]) -> str:
    """The sets by which something was within, those that nobody has reviewed named as such."""
    when = _("As left") if any(each["phase"] == "as left" for each in within) else _("As found")
    names = {(f"{each['set_name']} v{each['set_version']}", each["review"] == "unreviewed") for each in within}
    said = [f"{name} ({_('not reviewed')})" if unreviewed else name for name, unreviewed in sorted(names)]
    return _("%(when)s, within the limits of %(sets)s as recorded.") % {"when": when, "sets": _and(said)}


def _and(names: list[str]) -> str:
    return (
        names[0] if len(names) == 1 else _("%(some)s and %(last)s") % {"some": ", ".join(names[:-1]), "last": names[-1]}
    )


def _rates_read(readings: Sequence[Reading]) -> list[str]:
    return list(dict.fromkeys(each.rate for each in readings if each.counted_phase != "between"))
