"""CO in the room before and after is judged of its own, whatever the readings say and whether there are any."""

from typing import Any

import pytest

from fleet.limits import Verdict, evaluate
from fleet.models import User
from fleet.services.ambient import ambient_cases
from tests.cast import measured, store


def room(body: dict[str, Any], **values: dict[str, str]) -> dict[str, Any]:
    return body | {"conditions": values}


def not_tested(body: dict[str, Any]) -> dict[str, Any]:
    return body | {"outcome": "not tested", "outcome_reason": "CO in the room", "readings": [], "work": []}


def ambient_stops(body: dict[str, Any], actor: User) -> list[Verdict]:
    visit = store(body, actor)
    return [each for each in evaluate(visit.judgement.card, ambient_cases(visit)).findings if each.stop]


@pytest.mark.parametrize("tested", [True, False])
@pytest.mark.parametrize(("when", "ppm"), [("before", "200"), ("after", "80")])
def test_co_in_the_room_stops_with_readings_at_0_and_without_any(
    body: dict[str, Any], technician: User, when: str, ppm: str, tested: bool
) -> None:
    sent = room(body if tested else not_tested(body), **{f"ambient_co_{when}": measured(ppm, "ppm")})
    (stop,) = ambient_stops(sent, technician)
    assert (stop.quantity, stop.value, stop.reading_key, stop.rate) == ("ambient_co", float(ppm), when, None)


def test_a_rise_from_before_to_after_stops(body: dict[str, Any], technician: User) -> None:
    sent = room(not_tested(body), ambient_co_before=measured("2", "ppm"), ambient_co_after=measured("7", "ppm"))
    assert [each.quantity for each in ambient_stops(sent, technician)] == ["ambient_co_rise"]


def test_an_instrument_that_gave_up_in_the_room_stops(body: dict[str, Any], technician: User) -> None:
    sent = room(not_tested(body), ambient_co_after=measured("20", "ppm", "more than"))
    assert [each.quantity for each in ambient_stops(sent, technician)] == ["ambient_co"]


def test_what_was_not_read_in_the_room_is_no_case(body: dict[str, Any], technician: User) -> None:
    failed = {"value": "", "unit": "ppm", "qualifier": "sensor fault"}
    assert ambient_cases(store(room(body, ambient_co_before=failed), technician)) == []


def phases(visit: Any) -> list[tuple[str, str]]:
    return [(each["key"], each["phase"]) for each in ambient_cases(visit)]


def test_after_is_as_left_only_beside_a_reading_as_left(body: dict[str, Any], technician: User) -> None:
    """Else the room alone would stand for how the burner was left."""
    assert phases(store(body, technician)) == [("before", "as found"), ("after", "as left")]


def test_after_is_as_found_where_nothing_was_read_as_left(body: dict[str, Any], technician: User) -> None:
    body["readings"], body["work"] = body["readings"][:2], []
    assert phases(store(body, technician)) == [("before", "as found"), ("after", "as found")]
