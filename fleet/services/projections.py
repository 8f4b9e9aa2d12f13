"""From records to rows, again: every table that is projected can be rebuilt."""

from django.db import transaction

from fleet.assess.projections import ROWS, in_force
from fleet.models.records import content_of
from fleet.services.records import put_rows
from fleet.services.visits import project_visit


def rebuild() -> int:
    """Project every record in force again, oldest first. Returns how many."""
    count = 0
    with transaction.atomic():
        for record in in_force():
            if record.kind == "visit":
                project_visit(record=record)
            else:
                put_rows(rows=ROWS[record.kind](content_of(record), record.id))
            count += 1
    return count
