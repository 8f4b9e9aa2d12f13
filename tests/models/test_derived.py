"""Small values that rows derive from their own columns: which gas on which day, what is open, late or in force."""

import uuid
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from fleet.assess.refusals import check_entry
from fleet.combustion import FUELS
from fleet.errors import FleetError
from fleet.evidence import sha256_hex
from fleet.models import (
    Alert,
    Appliance,
    Building,
    Client,
    Defect,
    Delivery,
    Forecast,
    GasSupply,
    Judgement,
    LimitSet,
    LimitSetVersion,
    ModelSheet,
    Person,
    Qualification,
    Reading,
    Revisit,
    SheetVersion,
    StoredFile,
    User,
    Visit,
    WorkItem,
)
from fleet.models.appliances import not_gone
from fleet.models.calendars import hash_of
from fleet.models.drafts import id_of_file
from fleet.models.follow_ups import STILL_OPEN
from fleet.models.people import fuel_kind
from fleet.models.records import part_id
from fleet.models.register import new_id
from fleet.queries.follow_ups import OPEN
from tests.intake.refused import said_of
from tests.limits.cast import make_verdict
from tests.models.rows import DAY, MOMENT, made

LANDFILL = {"CH4": "0.55", "CO2": "0.45"}
YESTERDAY, TOMORROW = DAY - timedelta(days=1), DAY + timedelta(days=1)


# ---- buildings and the gas that comes to them ----


def test_a_supply_takes_over_on_its_day_and_the_newest_begun_counts(db: None) -> None:
    building = made(Building, fuel="natural_gas")
    for since, fuel in (("2026-03-02", "propane"), ("2020-01-01", "natural_gas_l"), ("2027-01-01", "hydrogen")):
        made(GasSupply, building=building, since=date.fromisoformat(since), fuel=fuel)
    on = {day: building.gas_on(date.fromisoformat(day)).name for day in ("2019-12-31", "2020-01-01", "2026-03-01")}
    assert on == {"2019-12-31": "natural_gas", "2020-01-01": "natural_gas_l", "2026-03-01": "natural_gas_l"}
    assert [building.gas_on(each).name for each in (DAY, date(2026, 12, 31))] == ["propane", "propane"]


def test_an_appliance_of_its_own_fuel_burns_it_whatever_the_pipe_brings(db: None) -> None:
    building = made(Building, fuel="natural_gas")
    made(GasSupply, building=building, since=DAY, fuel="landfill", composition=LANDFILL)
    by_pipe, by_tank = (made(Appliance, building=building, fuel=fuel) for fuel in ("", "light_oil"))
    assert by_tank.burns_on(DAY) == ("light_oil", {})
    assert by_pipe.burns_on(YESTERDAY) == ("natural_gas", {})
    assert by_pipe.burns_on(DAY) == ("landfill", LANDFILL)
    # 55 methane and 45 CO2 make 100 CO2 in 55 x 2 x 79.054/20.946 N2 + 100, nearly: 19.4 %.
    assert by_pipe.burns_on(DAY).fuel.co2_max_pct == pytest.approx(19.4, abs=0.2)


@pytest.mark.parametrize(
    ("fuel", "composition", "field"),
    [
        ("coal_gas", {}, "fuel"),
        ("landfill", {"CH4": "0.55"}, "composition"),
        ("landfill", {"CH4": "much"}, "composition"),
        ("landfill", {"XE": "1"}, "composition"),
        ("natural_gas", LANDFILL, "fuel"),
    ],
)
def test_a_supply_that_is_no_gas_names_the_field(fuel: str, composition: dict[str, str], field: str) -> None:
    with pytest.raises(ValidationError) as refused:
        GasSupply(fuel=fuel, composition=composition).clean()
    assert list(refused.value.message_dict) == [field]


def test_a_supply_by_name_or_by_its_composition_is_one() -> None:
    GasSupply(fuel="biogas").clean()
    GasSupply(fuel="landfill", composition=LANDFILL).clean()


@pytest.mark.parametrize(
    ("column", "value", "said"),
    [("fuel", "coal", "natural_gas"), ("time_zone", "Lisbon", "Europe/Lisbon"), ("time_zone", "", "is empty")],
)
@pytest.mark.django_db
def test_a_building_refuses_what_it_does_not_know_and_says_what_it_does(column: str, value: str, said: str) -> None:
    building = Building(**{"name": "A", "address": "B", "time_zone": "Europe/Lisbon", column: value})
    building.client = Client(name="C")
    with pytest.raises(FleetError) as refused:
        check_entry(building)
    assert said in said_of(refused.value)[column]


@pytest.mark.parametrize(
    ("zone", "day"),
    [("Pacific/Auckland", "2026-03-02"), ("Europe/Lisbon", "2026-03-01"), ("America/Toronto", "2026-03-01")],
)
def test_today_is_the_day_that_it_is_at_the_building(zone: str, day: str) -> None:
    late = datetime(2026, 3, 1, 23, 30, tzinfo=UTC)
    assert Building(time_zone=zone).today(late) == date.fromisoformat(day)


# ---- in service ----


@given(st.integers(0, 6), st.none() | st.integers(0, 6), st.integers(-2, 9))
def test_in_service_from_the_first_day_to_the_last_both_counted(begins: int, length: int | None, asked: int) -> None:
    first = DAY + timedelta(days=begins)
    last = None if length is None else first + timedelta(days=length)
    appliance = Appliance(in_service_from=first, in_service_to=last)
    days = range(begins, 400 if length is None else begins + length + 1)
    assert appliance.in_service_on(DAY + timedelta(days=asked)) == (asked in days)


def test_what_is_to_go_later_is_not_gone_and_what_went_yesterday_is(db: None) -> None:
    ends = {"never": None, "yesterday": YESTERDAY, "today": DAY, "tomorrow": TOMORROW}
    for name, day in ends.items():
        made(Appliance, name=name, in_service_from=date(2020, 1, 1), in_service_to=day)
    made(Appliance, name="to come", in_service_from=TOMORROW)
    there = set(Appliance.objects.filter(not_gone(DAY)).values_list("name", flat=True))
    assert there == {"never", "today", "tomorrow", "to come"}
    by_path = Building.objects.filter(not_gone(DAY, "appliances__")).values_list("appliances__name", flat=True)
    assert set(by_path) == there


@pytest.mark.parametrize(("table", "version"), [(ModelSheet, SheetVersion), (LimitSet, LimitSetVersion)])
def test_the_highest_number_is_the_current_version_however_they_are_stored(table: Any, version: Any, db: None) -> None:
    whole = made(table)
    parent = {"sheet" if table is ModelSheet else "limit_set": whole}
    assert whole.current is None
    for number in (2, 10, 9):
        made(version, number=number, **parent)
    assert whole.current.number == 10


# ---- people ----


@pytest.mark.parametrize(
    ("fuel", "kind"),
    [*((each, "gas") for each in sorted(FUELS) if each != "light_oil"), ("light_oil", "oil"), ("landfill", "gas")],
)
def test_a_fuel_asks_for_a_qualification_for_gas_or_oil(fuel: str, kind: str) -> None:
    """A gas of a building's own is on no list and is a gas."""
    assert fuel_kind(fuel) == kind


def test_of_several_qualifications_in_force_the_one_that_lasts_longest_counts(db: None) -> None:
    person = made(Person)
    for number, kinds, begins, ends in (
        ("short", ["gas"], "2026-01-01", "2026-03-02"),
        ("long", ["gas", "oil"], "2026-03-02", "2027-03-01"),
        ("to come", ["gas"], "2026-03-03", "2030-01-01"),
        ("oil alone", ["oil"], "2020-01-01", "2029-01-01"),
    ):
        lasts = {"valid_from": date.fromisoformat(begins), "valid_to": date.fromisoformat(ends)}
        made(Qualification, person=person, number=number, fuel_kinds=kinds, **lasts)

    def held(kind: str, day: str) -> str | None:
        found = person.qualification_on(kind, date.fromisoformat(day))
        assert person.is_qualified(kind, date.fromisoformat(day)) == (found is not None)
        return found and found.number

    assert [held("gas", day) for day in ("2025-12-31", "2026-01-01", "2026-03-01")] == [None, "short", "short"]
    assert [held("gas", day) for day in ("2026-03-02", "2026-03-03")] == ["long", "to come"]
    assert [held("oil", day) for day in ("2019-12-31", "2026-03-02", "2029-01-02")] == [None, "oil alone", None]


# ---- visits ----


@pytest.mark.parametrize(
    ("kind", "moves"),
    [(each, True) for each in ("adjustment", "cleaning", "reseal", "nozzle", "part", "gas_conversion")]
    + [(each, False) for each in ("other", "filter", "")],
)
def test_work_that_moves_combustion_starts_anew(kind: str, moves: bool) -> None:
    """T17 names what moves it."""
    assert WorkItem(kind=kind).moves_combustion is moves


@pytest.mark.parametrize(
    ("how", "proven"), [("display", True), ("timed_input", True), ("not_proven", False), ("", False)]
)
def test_a_rate_is_proven_only_where_somebody_said_how(how: str, proven: bool) -> None:
    assert Reading(rate_proven_by=how).rate_proven is proven


def test_a_judgement_reads_its_verdicts_and_what_fired_of_them() -> None:
    outcomes = ["outside", "outside", "cannot_tell", "within"]
    rows = [vars(make_verdict(outcome=each, limit_id=f"L{n}")) for n, each in enumerate(outcomes)]
    judgement = Judgement(verdicts={"verdicts": rows})
    assert [each.outcome for each in judgement.said] == outcomes
    assert [each.limit_id for each in judgement.fired] == ["L0", "L1"]
    assert Judgement(verdicts={"verdicts": []}).fired == ()


def test_a_forecast_without_a_lower_end_has_only_a_ceiling() -> None:
    assert Forecast(lower=None).has_only_a_ceiling
    assert not Forecast(lower=0.0).has_only_a_ceiling


# ---- open and overdue: in a row and in the database alike ----


@pytest.mark.parametrize("done", [False, True])
@pytest.mark.parametrize("closed", [False, True])
@pytest.mark.parametrize("resolved_at", [None, MOMENT])
def test_a_defect_is_open_until_it_is_repaired_closed_or_resolved(
    done: bool, closed: bool, resolved_at: Any, db: None
) -> None:
    later = made(Visit) if closed else None
    defect = made(Defect, done=done, closed_by=later, resolved_at=resolved_at, due=DAY)
    assert defect.is_open == (not done and not closed and resolved_at is None)
    assert Defect.objects.filter(STILL_OPEN).exists() == defect.is_open
    assert (defect.is_overdue(DAY), defect.is_overdue(TOMORROW)) == (False, defect.is_open)


def test_a_defect_without_a_last_day_is_never_overdue() -> None:
    assert not Defect(due=None).is_overdue(date.max)


@pytest.mark.parametrize("sent_at", [None, MOMENT])
@pytest.mark.parametrize("not_needed", [[], [["series_ended", {}]]])
def test_a_delivery_is_open_until_it_is_sent_or_nobody_needs_it(sent_at: Any, not_needed: list[Any], db: None) -> None:
    delivery = made(Delivery, sent_at=sent_at, not_needed=not_needed, due=DAY)
    assert delivery.is_open == (sent_at is None and not not_needed)
    assert Delivery.objects.filter(OPEN).exists() == delivery.is_open
    assert (delivery.is_overdue(DAY), delivery.is_overdue(TOMORROW)) == (False, delivery.is_open)


@pytest.mark.parametrize(
    ("sent_at", "not_needed", "is_open"), [(None, "", True), (MOMENT, "", False), (None, "x", False)]
)
def test_an_alert_is_open_until_it_is_sent_or_not_needed(sent_at: Any, not_needed: str, is_open: bool) -> None:
    assert Alert(sent_at=sent_at, not_needed=not_needed).is_open is is_open


@given(st.none() | st.integers(-9, 9), st.integers(-9, 9))
def test_a_booked_day_is_passed_the_day_after_and_too_late_after_the_last_day(booked: int | None, last: int) -> None:
    day = None if booked is None else DAY + timedelta(days=booked)
    revisit = Revisit(day=day, latest=DAY + timedelta(days=last), state="proposed" if day is None else "booked")
    assert revisit.is_set == (booked is not None)
    assert revisit.has_passed(DAY) == (booked is not None and booked <= -1)
    assert revisit.needed_before_its_day == (booked is not None and booked - last >= 1)


# ---- files, ids and secrets ----


def test_a_file_lies_under_its_hash_and_altered_or_lost_bytes_are_noticed(tmp_path: Path, settings: Any) -> None:
    settings.MEDIA_ROOT = tmp_path
    stored = StoredFile(id=new_id(), name="../../etc/passwd", sha256=sha256_hex(b"a picture"))
    assert stored.path.relative_to(tmp_path).parts == (stored.sha256[:2], stored.sha256)
    with pytest.raises(OSError, match=stored.sha256):
        stored.read_bytes()
    stored.path.parent.mkdir()
    stored.path.write_bytes(b"a picture")
    assert stored.read_bytes() == b"a picture"
    stored.path.write_bytes(b"another")
    with pytest.raises(ValueError, match="don't match its hash"):
        stored.read_bytes()


def test_ids_sort_by_the_time_of_their_making() -> None:
    made_in_turn = [new_id() for _ in range(200)]
    assert made_in_turn == sorted(made_in_turn)
    assert {each.version for each in made_in_turn} == {7}


@given(st.uuids(), st.sampled_from(["reading", "work", "defect"]), st.integers(0, 300))
def test_a_part_has_one_id_for_ever_and_no_other_part_has_it(subject: uuid.UUID, part: str, number: int) -> None:
    mine = part_id(subject, part, number)
    assert mine == part_id(subject, part, number)
    assert len({mine, part_id(subject, part, number + 1), part_id(subject, f"{part}s", number)}) == 3
    assert mine.version == 5


def test_the_id_of_a_file_hangs_on_what_it_says_and_on_no_version_number() -> None:
    file = {"name": "A", "external_reference": None, "content": {"rates": ["high"], "fuel": "natural_gas"}}
    turned = {"name": "A", "content": {"fuel": "natural_gas", "rates": ["high"]}}
    assert id_of_file(file) == id_of_file(turned | {"version": 7, "schema": "fleet-sheet/1"})
    for change in ({"name": "B"}, {"external_reference": "R"}, {"content": {}}):
        assert id_of_file(file) != id_of_file(file | change)


def test_a_secret_is_hashed_as_sha256_whatever_is_sent() -> None:
    """FIPS 180-4's example of one block: "abc"."""
    assert hash_of("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert len(hash_of("\ud800")) == 64


@pytest.mark.parametrize(
    ("names", "shown"),
    [({"first_name": "Ada", "last_name": "Test"}, "Ada Test"), ({}, "ada"), ({"last_name": "T"}, "T")],
)
def test_a_user_is_named_and_where_no_name_is_known_by_the_log_in(names: dict[str, str], shown: str) -> None:
    assert str(User(username="ada", **names)) == shown
