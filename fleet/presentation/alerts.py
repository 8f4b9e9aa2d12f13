"""What messages say: about a flag, of a day, and with a link for a new password."""

import uuid
from collections import defaultdict
from collections.abc import Iterable
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.mail import EmailMessage
from django.utils.translation import gettext as _

from fleet.models import Alert, Contractor, Flag, User
from fleet.presentation import addresses
from fleet.presentation.days import day_and_time
from fleet.presentation.follow_ups import flag_words
from fleet.presentation.sentences import sentences
from fleet.presentation.summary_items import SummaryItem

LONGEST_SUBJECT = 180
MOST_IN_A_SECTION = 40


def flag_message(*, flag: Flag, alert: Alert, job_id: uuid.UUID) -> EmailMessage:
    """One flag in plain text: what, where, since when, what now, and the cautions."""
    appliance, building = flag.appliance, flag.appliance.building
    place = f"{appliance.name}, {building.name}"
    since = day_and_time(flag.opened_at, ZoneInfo(building.time_zone))
    kind = _("Unsafe") if flag.kind == Flag.Kind.UNSAFE else _("Stop level")
    lines = [
        f"{kind}: {place}",
        flag_words(flag),
        _("Listed since %(when)s (%(zone)s).") % {"when": since, "zone": building.time_zone},
        _("Somebody has to answer for it. You and others are alerted again until a named person does:"),
        addresses.whole(addresses.attention_page(flag.id)),
        _("The appliance and its records:"),
        addresses.whole(addresses.appliance_page(appliance.id)),
        *cautions(),
    ]
    if sent := Alert.objects.filter(flag=flag, user=alert.user, sent_at__isnull=False).count():
        lines.insert(0, _("This is alert number %d to you about it: nobody has answered yet.") % (sent + 1))
    return _message(alert.user, f"{kind}: {place}: {flag_words(flag)}", lines, job_id)


def summary_message(*, user: User, items: Iterable[SummaryItem], job_id: uuid.UUID) -> EmailMessage:
    """What is new, by section; a long section is cut and says how much it left out."""
    sections: dict[str, list[SummaryItem]] = defaultdict(list)
    for each in items:
        sections[each.section].append(each)
    lines = [_("New since the last summary, or new in what it says:")]
    for section, found in sections.items():
        shown = [f"- {each.sentence}\n  {addresses.whole(each.path)}" for each in found[:MOST_IN_A_SECTION]]
        if len(found) > MOST_IN_A_SECTION:
            shown.append(_("and %d more, on the pages.") % (len(found) - MOST_IN_A_SECTION))
        lines.append("\n".join([f"{section} ({len(found)})", *shown]))
    lines += [*cautions(), _("To change the hour, or to have no summary:"), addresses.whole(addresses.alerts_page())]
    counts = ", ".join(f"{section.lower()} {len(found)}" for section, found in sections.items())
    return _message(user, _("New today: %s") % counts, lines, job_id)


def has_mail() -> bool:
    """Whether messages leave the house, or only lie in its folder, where no link may."""
    return bool(settings.EMAIL_BACKEND != "django.core.mail.backends.filebased.EmailBackend")


def new_password_message(*, user: User, job_id: uuid.UUID) -> EmailMessage:
    """The link, made now, so that it stands nowhere before. Who has no password has been let in by a manager."""
    if not user.has_usable_password():
        invited = [
            _("You may log in here as %s. With this address you set your password, once, within seven days:")
            % user.username,
            addresses.password_link(user),
            _("Whoever has it can do so in your place: don't pass it on."),
        ]
        return _message(user, _("Your log-in"), invited, job_id)
    lines = [
        _("Somebody asked for a new password of %s here. With this address you set it, once, within three days:")
        % user.username,
        addresses.password_link(user),
        _("If it was not you, nothing is to be done: your password stays as it is."),
    ]
    return _message(user, _("A new password"), lines, job_id)


def address_changed_message(*, user: User, to: str, job_id: uuid.UUID) -> EmailMessage:
    """To the address that was theirs until now."""
    lines = [
        _("The e-mail address of %s here is no longer this one: whoever was logged in, or a manager, changed it.")
        % user.username,
        _("If it was not you, tell your manager at once: they end all log-ins and make a link for a new password."),
    ]
    message = _message(user, _("Another e-mail address"), lines, job_id)
    message.to = [to]
    return message


def cautions() -> list[str]:
    """What stands under every message, with the numbers to call on a gas smell."""
    numbers = Contractor.objects.get().emergency_numbers
    return [
        _(
            "Carbon monoxide, gas, hot flues and live parts can kill. Nothing here declares an appliance safe, and "
            "nothing here asks for it to be fired. The manufacturer's instructions, the local code and "
            "licensed practice "
            "come first."
        ),
        _("On a gas smell: leave, use no switch, bell or phone inside, and call from outside: %s.")
        % (", ".join(numbers) or _("the emergency number of the gas network")),
    ]


def _message(user: User, subject: str, lines: list[str], job_id: uuid.UUID) -> EmailMessage:
    one_line = " ".join(subject.split())
    cut = one_line if len(one_line) <= LONGEST_SUBJECT else f"{one_line[: LONGEST_SUBJECT - 1]}…"
    lines = [*lines, _("This message may come more than once: the same Message-ID is the same message.")]
    headers = {
        "Message-ID": f"<{job_id}@{urlsplit(settings.PUBLIC_ADDRESS).hostname}>",
        "X-Fleet-Job": str(job_id),
        "Auto-Submitted": "auto-generated",
    }
    return EmailMessage(subject=cut, body="\n\n".join(lines) + "\n", to=[user.email], headers=headers)


_NOT_NEEDED = sentences("alerts_not_needed")


def not_needed_words(alert: Alert) -> str:
    """Why it was not sent; empty where it was, or will be."""
    return str(_NOT_NEEDED[alert.not_needed]) if alert.not_needed else ""


def alert_failure_words(alert: Alert) -> str:
    return _("The mail server did not take it (%s).") % alert.failure if alert.failure else ""
