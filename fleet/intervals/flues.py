"""Appliances on one flue: where the rule says so, the strictest interval among them applies to each."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

from fleet.intervals.dates import spoken
from fleet.intervals.due import Due
from fleet.predicates import Facts

# Facts of the appliance's own record; all else is told of whichever appliance sets the interval.
OF_THE_RECORD = ("run_hours", "out_of_use", "consecutive_passes")


def others_on_the_flue(facts: Facts) -> Iterator[tuple[str, Facts]]:
    """Name and facts of each other appliance on it, from facts["on_one_flue"]: the appliance's own record stays."""
    others = facts.get("on_one_flue", ())
    own = {name: facts[name] for name in OF_THE_RECORD if name in facts}
    if isinstance(others, Sequence) and not isinstance(others, str):
        for name, known in others:
            assert isinstance(known, Mapping)
            yield str(name), {**known, **own}


def strictest(own: Due, others: Sequence[tuple[str, Due]]) -> Due:
    """The earliest of them, each reckoned from the same checks. Where that one isn't certain, neither is the answer."""
    if not others:
        return own
    asked = [("", own), *others]
    name, first = min(asked, key=lambda each: (each[1].due or date.max, bool(each[1].cannot_tell)))
    if first.due is None:
        return own
    count = len(asked)
    if not name:
        words = f"{first.words}; the strictest of the {count} on its flue"
    else:
        alone = f" (by its own facts alone {spoken(own.due)})" if own.due and own.due != first.due else ""
        words = f"{first.words}; by {name}, the strictest of the {count} on its flue{alone}"
    if not first.cannot_tell:
        return replace(first, words=words)
    last_days = [due.certain_by if due.cannot_tell else due.due for _name, due in asked]
    by = min((day for day in last_days if day), default=None)
    doubt = f"{name}: {first.cannot_tell}" if name else first.cannot_tell
    return replace(first, words=words, cannot_tell=doubt, certain_by=by)
