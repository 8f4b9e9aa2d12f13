"""The list of who is on call, and what a daily summary has to say to whom."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.models import (
    Analyser,
    Appliance,
    Calibration,
    Flag,
    Job,
    OnCall,
    RequiredCheck,
    Revisit,
    Role,
    UnreadableRecord,
)
from fleet.presentation.summary_items import SummaryItem
from fleet.queries.alerts import may_be_on_call, on_call_list, summary_items
from tests.models.rows import DAY, MOMENT, made
from tests.queries.world import YESTERDAY, World

pytestmark = pytest.mark.django_db


# ---- on call ----


def test_the_office_reads_the_whole_list_and_a_technician_their_own_line(world: World) -> None:
    listed = {name: made(OnCall, user=world.who(name), after_minutes=minutes) for name, minutes in
              (("manager", 30), ("technician", 10), ("dispatcher", 10))}  # fmt: skip
    for role in ("dispatcher", "manager"):
        assert set(on_call_list(world.who(role, "none"))) == set(listed.values())
    assert [each.after_minutes for each in on_call_list(world.who("manager"))] == [10, 10, 30]
    assert list(on_call_list(world.who("technician"))) == [listed["technician"]]
    for each in (world.who("technician", "all"), world.who("auditor", "all"), world.who("manager", "gone")):
        assert not on_call_list(each).exists()


def test_a_manager_puts_on_it_whoever_is_here_but_an_auditor(world: World) -> None:
    offered = list(may_be_on_call(world.who("manager", "all")))
    assert {each.role for each in offered} == {Role.TECHNICIAN, Role.DISPATCHER, Role.MANAGER}
    assert all(each.is_active for each in offered)
    assert world.ours.technician in offered
    assert [each.last_name for each in offered] == sorted(each.last_name for each in offered)
    for each in (world.who("dispatcher", "all"), world.who("technician", "all"), world.who("manager", "gone")):
        assert not may_be_on_call(each).exists()


# ---- the daily summary ----


def changed(row: Any, **values: Any) -> None:
    type(row).objects.filter(pk=row.pk).update(**values)


def said(world: World, who: str = "manager", sees: str = "ours", today: date = DAY) -> list[SummaryItem]:
    return summary_items(world.who(who, sees), today)


def section(items: list[SummaryItem], name: str) -> list[SummaryItem]:
    return [each for each in items if each.section == name]


@pytest.fixture
def full(world: World) -> World:
    """Something of every section stands for our client, and for the whole house."""
    for kind in ("stop_level", "may_be_outside"):
        figures = DRIFTING if kind == "may_be_outside" else {}
        made(Flag, appliance=world.ours.appliance, kind=kind, key="x", sentence="smell of gas", figures=figures)
    late = made(Appliance, building=world.ours.building, name="Late boiler")
    made(Revisit, appliance=late, earliest=YESTERDAY, latest=YESTERDAY)
    made(RequiredCheck, appliance=late, name="Tune-up", due=DAY + timedelta(days=21))
    made(RequiredCheck, appliance=late, name="Far ahead", due=DAY + timedelta(days=22))
    made(Calibration, analyser=made(Analyser, name="Analyser 7"), done_on=DAY, valid_to=DAY, passed=True)
    made(UnreadableRecord)
    made(Job, state="failed", kind="refit", tries=8)
    return world


DRIFTING = {
    "forecast": {
        "quantity": "co2", "rate": "high", "visits": 4, "pace": -0.2, "model_pace": None, "accepted_risk": 0.08,
        "limit": None, "is_lower": True, "lower": 9.0, "upper": 9.8, "unit": "%", "is_due": False,
        "horizon_on": "2026-09-01",
    },
    "planned": "2027-03-02",
    "chance": 0.41,
}  # fmt: skip


def test_every_section_in_its_order_the_gravest_first(full: World) -> None:
    sections = list(dict.fromkeys(each.section for each in said(full, sees="all")))
    assert sections == [
        "Still open at stop level",
        "Outside a limit",
        "May be outside",
        "Overdue",
        "Expiring",
        "Required checks overdue",
        "Required checks due within three weeks",
        "Messages kept to be corrected",
        "Background work that failed",
        "Webhooks switched off",
    ]


def test_each_thing_is_named_with_its_place_and_leads_to_its_page(full: World) -> None:
    items = said(full)
    (stop,) = section(items, "Still open at stop level")
    assert stop.sentence == "Weir boiler, Weir House: smell of gas"
    assert stop.path.startswith("/#flag-")
    (drift,) = section(items, "May be outside")
    assert drift.sentence.startswith("Weir boiler, Weir House: CO₂ at high fire has fallen 0.20 points a year")
    assert drift.path == f"/appliances/{full.ours.appliance.id}/"
    overdue = {each.sentence: each.path for each in section(items, "Overdue")}
    assert overdue["Late boiler, Weir House was to be seen by 1 March 2026."].startswith("/appliances/")
    (check,) = section(items, "Required checks due within three weeks")
    assert check.sentence == "Late boiler, Weir House: Tune-up is due on 23 March 2026."
    assert section(items, "Required checks overdue")[0].sentence.endswith(" was due on 1 March 2026.")
    assert "Calibration of Analyser 7: until 2 March 2026." in {each.sentence for each in section(items, "Expiring")}


@pytest.mark.parametrize(
    ("who", "sees", "hidden"),
    [
        ("manager", "all", set()),
        ("manager", "ours", {"Background work that failed", "Messages kept to be corrected"}),
        ("dispatcher", "all", {"Background work that failed", "Webhooks switched off"}),
        (
            "dispatcher",
            "ours",
            {"Background work that failed", "Webhooks switched off", "Messages kept to be corrected"},
        ),
    ],
)
def test_a_section_is_shown_to_whom_it_concerns(full: World, who: str, sees: str, hidden: set[str]) -> None:
    everything = {each.section for each in said(full, sees="all")}
    assert everything - {each.section for each in said(full, who, sees)} == hidden


def test_nothing_of_a_client_that_one_may_not_see_is_named(full: World) -> None:
    words = " ".join(each.sentence for each in said(full))
    assert "Alder" not in words and "Quarry" not in words
    assert "Alder boiler" in " ".join(each.sentence for each in said(full, sees="all"))


def marks(items: list[SummaryItem]) -> dict[tuple[str, str], str]:
    return {(each.section, each.sentence): each.mark for each in items}


def test_what_stands_unchanged_keeps_its_mark_and_stop_level_is_new_each_day(full: World) -> None:
    today, tomorrow = marks(said(full)), marks(said(full, today=DAY + timedelta(days=1)))
    anew = {named[0] for named, mark in tomorrow.items() if today.get(named) not in (None, mark)}
    # The calibration of today has ended by tomorrow.
    assert anew == {"Still open at stop level", "Expiring"}


def test_two_things_never_share_a_mark(full: World) -> None:
    shown = [each.mark for each in said(full, sees="all")]
    assert len(set(shown)) == len(shown)
    assert all(len(each) == 12 for each in shown)


def test_what_somebody_answers_for_is_not_told_again(full: World) -> None:
    Flag.objects.filter(kind="stop_level").update(acknowledged_at=MOMENT, acknowledged_by=full.who("manager"))
    assert not section(said(full), "Still open at stop level")


@pytest.mark.parametrize(
    ("changes", "said_of"),
    [
        ({"due": DAY}, "is due on 2 March 2026."),
        ({"due": YESTERDAY}, "was due on 1 March 2026."),
        ({"due": YESTERDAY, "cannot_tell": [["no_start", {}]]}, None),
        ({"due": YESTERDAY, "until": YESTERDAY}, None),
    ],
)
def test_only_a_certain_date_is_told_of_and_late_is_from_the_day_after(
    world: World, changes: dict[str, Any], said_of: str | None
) -> None:
    changed(world.ours.required_check, **changes)
    told = [each.sentence for each in said(world) if each.section.startswith("Required checks")]
    assert [each.endswith(said_of or "") for each in told] == ([True] if said_of else [])


def test_overdue_checks_stand_before_those_to_come_and_the_soonest_first(world: World) -> None:
    for name, days in (("C", 9), ("A", 2), ("B", -40)):
        made(RequiredCheck, appliance=world.ours.appliance, name=name, due=DAY + timedelta(days=days))
    changed(world.ours.required_check, name="D")
    told = [each.sentence for each in said(world) if each.section.startswith("Required checks")]
    assert [each.split(": ")[1][0] for each in told] == ["B", "D", "A", "C"]
