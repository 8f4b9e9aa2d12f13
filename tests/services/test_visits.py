"""A visit goes in once, is judged, and opens what it calls for."""

from typing import Any

import pytest

from fleet.errors import Conflict
from fleet.models import Record, User
from tests.cast import store


def test_sending_the_same_visit_twice_stores_it_once(body: dict[str, Any], technician: User) -> None:
    first = store(body, technician)
    assert store(body, technician) == first
    assert Record.objects.filter(kind="visit").count() == 1


def test_other_content_under_the_same_id_is_a_conflict_and_changes_nothing(
    body: dict[str, Any], technician: User
) -> None:
    store(body, technician)
    with pytest.raises(Conflict) as refused:
        store(body | {"note": "something else"}, technician)
    assert refused.value.code == "visit_differs"
    assert Record.objects.filter(kind="visit").count() == 1


def test_a_visit_is_judged_with_its_versions(body: dict[str, Any], technician: User) -> None:
    visit = store(body, technician)
    assert visit.judgement.outcome == "within"
    assert visit.judgement.sheet_version.number == 1
    assert [each.counted_phase for each in visit.readings.all()] == [
        "as found",
        "as found",
        "as left",
        "as left",
    ]
    print(
        visit.judgement.summary,
        [str(f) for f in visit.judgement.findings.all()],
        [m.sentence for m in visit.marks.all()],
    )
