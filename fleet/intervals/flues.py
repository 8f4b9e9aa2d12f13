"""Appliances on one flue: where the rule says so, the strictest interval among them applies to each."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

from fleet.coded import coded
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
    """The earliest of them, each calculated from the same checks. Where it isn't certain, neither is the answer."""
    if not others:
        return own
    asked = [("", own), *others]
    name, first = min(asked, key=lambda each: (each[1].due or date.max, bool(each[1].cannot_tell)))
    if first.due is None:
        return own
    count = len(asked)
    if not name:
        said = coded("strictest_on_its_flue", count=count)
    elif own.due and own.due != first.due:
        said = coded("by_a_stricter_on_its_flue", name=name, count=count, own_on=own.due)
    else:
        said = coded("by_another_on_its_flue", name=name, count=count)
    steps = (*first.steps, said)
    if not first.cannot_tell:
        return replace(first, steps=steps)
    last_days = [due.certain_by if due.cannot_tell else due.due for _name, due in asked]
    by = min((day for day in last_days if day), default=None)
    (code, figures), *others_too = first.cannot_tell
    doubt = coded(code, **figures, of=name) if name else (code, figures)
    return replace(first, steps=steps, cannot_tell=(doubt, *others_too), certain_by=by)
