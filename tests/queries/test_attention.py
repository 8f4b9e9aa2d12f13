"""What runs out, on the start page's list."""

from datetime import date

from fleet.models import Analyser, User
from fleet.models.register import new_id
from fleet.queries.attention import attention_for
from fleet.services.analysers import add_calibration
from tests.cast import NOON


def test_an_analyser_that_failed_has_run_out_on_that_day(analyser: Analyser, manager: User) -> None:
    today = NOON.date()
    assert attention_for(manager, today).running_out == ()
    content = {"done_on": "2026-02-10", "valid_to": "2027-02-10", "certificate": "C-2", "by": "a laboratory"}
    add_calibration(analyser=analyser, content=content | {"passed": False}, actor=manager, now=NOON, id=new_id())
    (ended,) = attention_for(manager, today).running_out
    assert (ended.subject, ended.until) == (analyser, date(2026, 2, 10))
