"""What a message holds: cut where it would be long, on one line where a head is, the cautions in each."""

import uuid
from email import message_from_string
from typing import Any

import pytest

from fleet.models import Alert, Contractor, Flag, User
from fleet.presentation.alerts import (
    LONGEST_SUBJECT,
    MOST_IN_A_SECTION,
    SummaryItem,
    cautions,
    flag_message,
    summary_message,
)
from tests.models.rows import MOMENT, made
from tests.presentation.sentences import faults_of

pytestmark = pytest.mark.django_db
JOB = uuid.UUID("019a3c5e-7d10-7c4e-9f2b-3d5a6b7c8d9e")
READER = User(username="ada", email="ada@heating.example")


def items(section: str, count: int) -> list[SummaryItem]:
    return [SummaryItem(section, f"Boiler {number}, Weir House: late.", "/x/", str(number)) for number in range(count)]


@pytest.mark.parametrize(("count", "left_out"), [(1, 0), (MOST_IN_A_SECTION, 0), (MOST_IN_A_SECTION + 7, 7)])
def test_a_long_section_is_cut_and_says_how_much_it_left_out(count: int, left_out: int) -> None:
    message = summary_message(user=READER, items=items("Overdue", count) + items("Expiring", 2), job_id=JOB)
    body = message.body
    assert f"Overdue ({count})" in body and "Expiring (2)" in body
    assert body.count("- Boiler") == count - left_out + 2
    assert (f"and {left_out} more, on the pages." in body) == bool(left_out)
    assert message.subject == f"New today: overdue {count}, expiring 2"
    assert message.to == ["ada@heating.example"]


def test_a_head_is_one_line_of_bounded_length_whatever_stands_in_it() -> None:
    section = "Overdue\r\nBcc: everybody@heating.example " + "and more " * 40
    message = summary_message(user=READER, items=items(section, 1), job_id=JOB)
    assert len(message.subject) == LONGEST_SUBJECT
    assert message.subject.endswith("…")
    parsed = message_from_string(message.message().as_string())
    assert parsed["Bcc"] is None
    assert parsed["X-Fleet-Job"] == str(JOB)
    assert parsed["Message-ID"].startswith(f"<{JOB}@")
    assert parsed["Auto-Submitted"] == "auto-generated"


@pytest.mark.parametrize(
    ("numbers", "shown"),
    [([], "the emergency number of the gas network"), (["000"], "000"), (["000", "111"], "000, 111")],
)
def test_the_cautions_name_the_numbers_to_call_from_outside(numbers: list[Any], shown: str) -> None:
    """T6: leave, use nothing inside, call from outside."""
    Contractor.objects.update(emergency_numbers=numbers)
    first, second = cautions()
    assert "Nothing here declares an appliance safe" in first
    assert second.endswith(f"call from outside: {shown}.")
    assert [each for one in (first, second) for each in faults_of(one, most_words=60)] == []


@pytest.mark.parametrize(("sent", "number"), [(0, None), (1, 2), (782, 783)])
def test_the_first_alert_has_no_number_and_each_further_one_counts_those_sent(sent: int, number: int | None) -> None:
    flag = made(Flag, kind="unsafe", sentence="smell of gas", opened_at=MOMENT)
    flag.appliance.building.time_zone = "Europe/Lisbon"
    alert = made(Alert, flag=flag, round=0)
    Alert.objects.bulk_create(
        Alert(flag=flag, user=alert.user, alerted_from=MOMENT, round=each + 1, due_at=MOMENT, sent_at=MOMENT)
        for each in range(sent)
    )
    # One to somebody else, and one that never went, count for nothing.
    made(Alert, flag=flag, sent_at=MOMENT)
    message = flag_message(flag=flag, alert=alert, job_id=JOB)
    begins = f"This is alert number {number} to you about it" if number else "Unsafe: "
    assert message.body.startswith(begins)
    assert "12:00 (Europe/Lisbon)." in message.body
    assert message.subject.startswith("Unsafe: ") and message.subject.endswith("smell of gas")
