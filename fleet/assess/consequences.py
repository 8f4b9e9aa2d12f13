"""What a new version of a sheet or a limit set would change."""

import uuid
from collections.abc import Iterable

from django.db.models import Exists, OuterRef

from fleet.models import Reading, Visit


def newest_read_visits(appliance_ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, Visit]:
    """Of each appliance the newest visit that read anything, with all that judging it again asks for."""
    read = Visit.objects.filter(
        Exists(Reading.objects.filter(visit=OuterRef("pk"))),
        appliance__in=set(appliance_ids),
        judgement__isnull=False,
    )
    newest = dict(read.order_by("local_date", "id").values_list("appliance", "id"))
    related = Visit.objects.filter(id__in=newest.values()).select_related("judgement")
    plain = related.defer("judgement__card", "judgement__verdicts", "card_seen", "checklist")
    whole = plain.prefetch_related("readings__analyser__calibrations", "work")
    return {each.appliance_id: each for each in whole}
