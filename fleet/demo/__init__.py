"""The invented contractor: a small town, and a year in which it worked with the service.

Nothing here was measured anywhere. How readings drift and scatter are our own assumptions: they make something to look
at, and teach nothing about real appliances. Everything goes through the ordinary services, dated as it would have been.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from fleet.demo import year
from fleet.demo.contractor import build
from fleet.demo.town import Account
from fleet.models import Alert, Flag, Job


def load_demo(*, now: datetime, say: Callable[[str], Any] = lambda _said: None) -> list[Account]:
    """Build the whole demonstration. Returns its accounts."""
    with transaction.atomic():
        town, accounts = build(now)
        say(f"{len({each.site for each in town.lives.values()})} buildings, {len(town.lives)} appliances")
        older = year.bring_in_older(town, say)
        year.learn(town.begins + timedelta(days=1))
        visits = year.live(town, say)
        say("learning from all of them")
        year.learn(now)
        year.end_waiting(now)
        _end_alerts(now)
        say(f"{older + visits} visits, {visits} of them of the last year")
    return accounts


def _end_alerts(now: datetime) -> None:
    """Nobody waits for an alert that somebody has answered; what is unanswered goes on being told."""
    unanswered = Flag.objects.filter(acknowledged_at__isnull=True, closed_at__isnull=True)
    unsent = Alert.objects.filter(flag__in=unanswered, sent_at__isnull=True)
    still = [str(id) for rows in (unanswered, unsent) for id in rows.values_list("id", flat=True)]
    over = Job.objects.filter(kind__in=("alert_on_flag", "send_alert"), state=Job.State.WAITING).exclude(key__in=still)
    over.update(state=Job.State.DONE, finished_at=now)
