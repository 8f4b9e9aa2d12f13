"""The fields of the record that a visit is to fill, so that it can count for the required checks of its appliance."""

from dataclasses import dataclass
from datetime import date

from fleet.assess.appliances import facts_of
from fleet.assess.due.answers import answered_by_register
from fleet.assess.due.record_fields import asked_of
from fleet.models import Appliance, Flag


@dataclass(frozen=True)
class AskedField:
    """A field of the record that required checks of the appliance ask for.

    mandatory_for, conditional_for: names of these required checks; the latter ask for it only where `condition` holds.
    answered: the register answers it already. declared: nothing else in a visit answers it but the technician's own
    word, under this name. fires: reading it needs the burner to fire. how: what answers it.
    """

    name: str
    words: str
    mandatory_for: tuple[str, ...]
    conditional_for: tuple[str, ...]
    condition: str
    answered: bool
    inspection_points: bool
    fires: bool
    how: str


@dataclass(frozen=True)
class Asked:
    """The union of the fields that the standing required checks ask for; without those that need firing where the
    appliance is stopped for safety.
    """

    fields: tuple[AskedField, ...]
    stopped: bool


def asked_of_visit(appliance: Appliance, day: date) -> Asked:
    """What a visit of that day is to fill, so that each required check which is not yet done or suspended can be
    counted.

    An appliance that was stopped for safety is not to be fired again: nothing is asked for that needs it.
    """
    standing = appliance.required_checks.filter(until__isnull=True, since__lte=day, suspended_since__isnull=True)
    open_ones = standing.exclude(required_fields="").exclude(due__isnull=True, cannot_tell=[])
    needs = {each.name: each.required_fields for each in open_ones.order_by("due", "id")}
    stopped = _is_stopped(appliance)
    register, facts = answered_by_register(appliance), facts_of(appliance, day)
    fields = tuple(
        AskedField(
            name=each.name,
            words=each.words,
            mandatory_for=tuple(always),
            conditional_for=tuple(sometimes),
            condition=each.condition_words if sometimes else "",
            answered=each.name in register,
            inspection_points=each.may_be_answered,
            fires=each.fires,
            how=each.how,
        )
        for each, always, sometimes in asked_of(needs)
        if not (stopped and each.fires)
        if always or "fact" not in each.condition or facts.get(each.condition["fact"]) is not False
    )
    return Asked(fields, stopped)


def _is_stopped(appliance: Appliance) -> bool:
    """Declared unsafe or left at a stop level, and nobody has closed that."""
    standing = appliance.flags.filter(kind__in=(Flag.Kind.UNSAFE, Flag.Kind.STOP), closed_at__isnull=True)
    return any(not each.figures.get("put_right") for each in standing)
