"""A calendar feed (RFC 5545): events in, bytes out. Folding, escaping and line ends are the library's.

All events are of whole days of the site: such a day is a date without a time zone (RFC 5545, 3.3.4), the same in every
program; the site's zone stands in the words.
"""

from collections.abc import Iterable
from datetime import date, timedelta

from icalendar import Calendar, Event, vDuration, vText

from fleet.queries.calendars import ShownEvent

PRODUCT = "-//fleet//days of appliances//EN"
LOOK_AGAIN = timedelta(hours=1)


def calendar_bytes(name: str, events: Iterable[ShownEvent]) -> bytes:
    """The whole feed, the same bytes for the same events."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    # RFC 7986; and the older name that many programs read.
    calendar.add("name", vText(name))
    calendar.add("x-wr-calname", vText(name))
    every = vDuration(LOOK_AGAIN)
    every.params["VALUE"] = "DURATION"
    calendar.add("refresh-interval", every)
    for each in events:
        calendar.add_component(_event(each))
    return bytes(calendar.to_ical())


def _event(shown: ShownEvent) -> Event:
    content, event = shown.content, Event()
    event.add("uid", shown.uid)
    event.add("sequence", shown.sequence)
    event.add("dtstamp", shown.changed_at)
    event.add("last-modified", shown.changed_at)
    event.add("dtstart", date.fromisoformat(content["first"]))
    # The end of a whole-day event is the day after (RFC 5545, 3.6.1).
    event.add("dtend", date.fromisoformat(content["last"]) + timedelta(days=1))
    event.add("status", "CANCELLED" if shown.is_cancelled else content["status"])
    event.add("summary", vText(content["summary"]))
    event.add("description", vText(content["description"]))
    event.add("location", vText(content["location"]))
    event.add("transp", "TRANSPARENT")
    return event
