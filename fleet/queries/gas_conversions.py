"""Which appliances were made to burn another gas, as a viewer may see it, and what a check of the new gas must say."""

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import date

from django.db.models import QuerySet

from fleet.assess.judging.evidence import Used
from fleet.models import GasConversion, User
from fleet.queries.access import visible_clients

# The regime of the test that follows, and its fields that no record answers by itself.
AFTER_CONVERSION = "after_conversion"
NEW_GAS, ANALYSER_NEW_GAS = "new_gas", "analyser_new_gas"


def visible_gas_conversions(viewer: User) -> QuerySet[GasConversion]:
    mine = GasConversion.objects.filter(appliance__building__client__in=visible_clients(viewer))
    return mine.select_related("appliance__building")


def conversions_of(appliance_ids: Collection[uuid.UUID]) -> dict[uuid.UUID, list[GasConversion]]:
    """Of each appliance its conversions, oldest first; nothing is read where no appliance is named."""
    gathered: dict[uuid.UUID, list[GasConversion]] = defaultdict(list)
    if appliance_ids:
        for each in GasConversion.objects.filter(appliance__in=appliance_ids).order_by("converted_on", "id"):
            gathered[each.appliance_id].append(each)
    return gathered


def answered_by_conversion(conversions: Iterable[GasConversion], used: Used, day: date) -> frozenset[str]:
    """Which of these fields hold for a record of that day: what burnt is what it had been converted to last, and each
    analyser was set to that gas, or to what the conversion says instead. Both where nothing had been converted yet.
    """
    done = [each for each in conversions if each.converted_on <= day]
    if not done:
        return frozenset({NEW_GAS, ANALYSER_NEW_GAS})
    last = max(done, key=lambda each: each.converted_on)
    held = {
        NEW_GAS: used.fuel == last.to_fuel,
        ANALYSER_NEW_GAS: set(used.set_to) <= {last.to_fuel, last.analyser_fuel},
    }
    return frozenset(name for name, holds in held.items() if holds)
