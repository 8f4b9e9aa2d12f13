"""In which order the readings of a visit were taken."""

from fleet.models import Visit


def taken_order(visit: Visit) -> dict[int, int]:
    """Place of each reading by its number: by the clock where every reading has a time, else as they are numbered.

    Readings may arrive out of order (two people at one appliance), and what rises by the clock falls by number.
    """
    readings = list(visit.readings.all())
    times_s = {each.number: each.taken_at.timestamp() for each in readings if each.taken_at is not None}
    if len(times_s) < len(readings):
        times_s = {}
    ordered = sorted(readings, key=lambda each: (times_s.get(each.number, 0.0), each.number))
    return {each.number: place for place, each in enumerate(ordered, start=1)}
