"""The feed as other programs read it: parsed back, whatever stands in it."""

from datetime import UTC, date, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from fleet.queries.calendars import ShownEvent
from reports.calendar_feed import calendar_bytes

DAYS = st.dates(min_value=date(1990, 1, 1), max_value=date(2190, 1, 1))
# What can stand in a name or a sentence here; control characters never come in.
WORDS = st.text(st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"], include_characters="\n"), max_size=200)
MOMENTS = st.datetimes(min_value=datetime(2020, 1, 1), max_value=datetime(2100, 1, 1)).map(
    lambda when: when.replace(microsecond=0, tzinfo=UTC)
)


@st.composite
def events(draw: st.DrawFn) -> ShownEvent:
    first = draw(DAYS)
    content = {
        "first": first.isoformat(),
        "last": (first + timedelta(days=draw(st.integers(0, 60)))).isoformat(),
        "status": draw(st.sampled_from(["CONFIRMED", "TENTATIVE"])),
        "summary": draw(WORDS),
        "description": draw(WORDS),
        "location": draw(WORDS),
    }
    return ShownEvent(str(draw(st.uuids())), draw(st.integers(0, 10_000)), draw(MOMENTS), draw(st.booleans()), content)


@given(WORDS, st.lists(events(), max_size=5))
def test_what_is_read_back_is_what_was_meant(name: str, shown: list[ShownEvent]) -> None:
    calendar = Calendar.from_ical(calendar_bytes(name, shown))
    # What the library doesn't know it leaves as it stood on the line (RFC 5545, 3.3.11).
    escaped = name.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")
    assert str(calendar["X-WR-CALNAME"]) == escaped
    assert len(calendar.events) == len(shown)
    for event, meant in zip(calendar.events, shown, strict=True):
        assert str(event["UID"]) == meant.uid
        assert event["SEQUENCE"] == meant.sequence
        assert event["DTSTAMP"].dt == event["LAST-MODIFIED"].dt == meant.changed_at
        assert event["DTSTART"].dt == date.fromisoformat(meant.content["first"])
        assert event["DTEND"].dt == date.fromisoformat(meant.content["last"]) + timedelta(days=1)
        assert event["STATUS"] == ("CANCELLED" if meant.is_cancelled else meant.content["status"])
        for field in ("summary", "description", "location"):
            assert str(event[field]) == meant.content[field]


@given(WORDS, st.lists(events(), max_size=3))
def test_lines_end_and_fold_as_the_standard_says(name: str, shown: list[ShownEvent]) -> None:
    """RFC 5545, 3.1: CRLF, at most 75 octets without it; no event of a whole day names a time zone (3.3.4)."""
    data = calendar_bytes(name, shown)
    assert data.endswith(b"END:VCALENDAR\r\n")
    lines = data.split(b"\r\n")
    assert all(len(each) <= 75 and b"\n" not in each and b"\r" not in each for each in lines)
    assert data.count(b"DTSTART;VALUE=DATE:") == len(shown)
    assert b"TZID" not in data


def test_the_same_events_give_the_same_bytes() -> None:
    content = {"first": "2026-06-09", "last": "2026-06-09", "status": "CONFIRMED", "summary": "s",
               "description": "d", "location": "l"}  # fmt: skip
    shown = [ShownEvent("revisit-1", 2, datetime(2026, 3, 2, 12, tzinfo=UTC), False, content)]
    assert calendar_bytes("Weir Trust", shown) == calendar_bytes("Weir Trust", shown)
