"""The contractor's row: name, numbers and choices, read by everybody who is logged in."""

from fleet.models import Contractor


def the_contractor() -> Contractor:
    return Contractor.objects.get()
