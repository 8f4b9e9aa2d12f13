"""Who was alerted of what is unsafe or at stop level, who answered, and who closed it."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from functools import partial

from django.conf import settings

from fleet.demo.town import Town
from fleet.errors import FleetError
from fleet.models import Alert, Flag
from fleet.models.register import new_id
from fleet.services import flags
from fleet.services.alerts import plan_alerts, send_alert

ALERTED = (Flag.Kind.UNSAFE, Flag.Kind.STOP)
UNANSWERED = timedelta(hours=6)  # what came so lately nobody has answered yet


@contextmanager
def mail_goes_nowhere() -> Iterator[None]:
    """The demonstration's people don't exist: nothing is sent to them, wherever e-mail would go."""
    kept, settings.EMAIL_BACKEND = settings.EMAIL_BACKEND, "django.core.mail.backends.dummy.EmailBackend"
    try:
        yield
    finally:
        settings.EMAIL_BACKEND = kept


def alert(town: Town, until: datetime) -> None:
    """Everybody on call is alerted of the new ones at once; the manager answers, but for the newest."""
    new = Flag.objects.filter(kind__in=ALERTED, acknowledged_at__isnull=True, closed_at__isnull=True)
    for flag in new.select_related("appliance__building"):
        first = not flag.alerts.exists()
        if first:
            plan_alerts(flag=flag, now=flag.opened_at)
        answered = flag.opened_at + timedelta(minutes=12)
        if first:
            _send(flag, answered)
        if town.now - flag.opened_at > UNANSWERED and answered < until:
            note = "Called the technician; the building knows."
            flags.acknowledge_flag(flag=flag, version=flag.version, note=note, actor=town.manager, now=answered)
            _send(flag, town.now)  # finds that nobody needs to be alerted again


def _send(flag: Flag, until: datetime) -> None:
    with mail_goes_nowhere():
        for alert in Alert.objects.filter(flag=flag, due_at__lte=until).select_related("flag", "user"):
            sent_at = alert.due_at + timedelta(seconds=2)
            send_alert(alert=alert, job_id=new_id(), clock=partial(_moment, sent_at))()


def _moment(at: datetime) -> datetime:
    return at


def close_what_is_over(town: Town, until: datetime) -> None:
    """By the manager, who is qualified: what was put right, or tested as left since."""
    standing = Flag.objects.filter(kind__in=ALERTED, acknowledged_at__lt=until, closed_at__isnull=True)
    for flag in standing:
        why = "Repaired and tested as left since; the readings were looked at."
        if flag.figures.get("put_right"):
            why = "Put right at the same visit; the readings as left were looked at."
        try:
            flags.close_flag(flag=flag, version=flag.version, why=why, actor=town.manager, now=until)
        except FleetError as refused:
            if refused.code != "no_test_since":
                raise
