"""What an event of a calendar link says: of a planned visit, and of the last day of a required check."""

from dataclasses import asdict, dataclass

from django.utils.translation import gettext as _

from fleet.models import Appliance, RequiredCheck, Revisit
from fleet.presentation.due_dates import date_words
from fleet.presentation.revisits import reason_words

CONFIRMED, TENTATIVE = "CONFIRMED", "TENTATIVE"


@dataclass(frozen=True)
class CalendarEvent:
    """Something with a day. first, last: days of the site, both inclusive, as ISO texts; status as in RFC 5545."""

    uid: str
    first: str
    last: str
    status: str
    summary: str
    description: str
    location: str

    def as_content(self) -> dict[str, str]:
        return {name: value for name, value in asdict(self).items() if name != "uid"}


def revisit_event(revisit: Revisit, who: str = "") -> CalendarEvent:
    place = _place(revisit.appliance)
    if revisit.day:
        first = last = revisit.day
        summary = _("Visit: %s") % place
    else:
        first, last, summary = revisit.earliest, revisit.latest, _("To be seen: %s") % place
    state = {
        Revisit.State.CONFIRMED: _("The day is confirmed."),
        Revisit.State.BOOKED: _("The day is kept, and not confirmed yet."),
        Revisit.State.PROPOSED: _("Proposed: any of these days; none is set yet."),
    }[Revisit.State(revisit.state)]
    status = CONFIRMED if revisit.state == Revisit.State.CONFIRMED else TENTATIVE
    described = _described(revisit.appliance, state, who, reason_words(revisit.why))
    return CalendarEvent(
        f"revisit-{revisit.id}", first.isoformat(), last.isoformat(), status, summary, described,
        _location(revisit.appliance),
    )  # fmt: skip


def required_check_event(required_check: RequiredCheck) -> CalendarEvent:
    assert required_check.due is not None  # only those with a date are asked for
    summary = _("Last day: %(name)s, %(place)s") % {
        "name": required_check.name,
        "place": _place(required_check.appliance),
    }
    day = required_check.due.isoformat()
    described = _described(
        required_check.appliance,
        _("The last day by this rule; no visit is set by it."),
        "",
        date_words(required_check.steps),
    )
    return CalendarEvent(
        f"required_check-{required_check.id}",
        day,
        day,
        CONFIRMED,
        summary,
        described,
        _location(required_check.appliance),
    )


def _place(appliance: Appliance) -> str:
    return f"{appliance.name}, {appliance.building.name}"


def _location(appliance: Appliance) -> str:
    room = f", {appliance.room}" if appliance.room else ""
    return f"{appliance.building.name}, {appliance.building.address}{room}"


def _described(appliance: Appliance, state: str, who: str, sentence: str) -> str:
    lines = (
        state,
        who,
        sentence,
        _("Days are those of %s.") % appliance.building.time_zone,
        _(
            "A day in a calendar declares no appliance safe. On a gas smell or where a CO alarm sounds: leave, use no "
            "switch or phone inside, and call from outside."
        ),
    )
    return "\n".join(each for each in lines if each)
