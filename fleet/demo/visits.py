"""One visit: from the simulated test to the message that a technician's phone sends, and sent."""

import math
import uuid
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from fleet.demo.sheets import Kind
from fleet.demo.simulation import TOWN_ZONE, Life, Test, measured
from fleet.demo.town import LAPSED, LAPSED_DAYS, Member, Town
from fleet.intake.visits import read_visit
from fleet.models import Analyser, User, Visit
from fleet.models.register import new_id
from fleet.services.visits import record_visit

CO_WORRIES_PPM = 90.0
OTHER_WAY = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}
ADJUSTS_BEYOND = 0.55
DEFECT_CHANCE = 0.08
RESTORE_STEPS = (
    "test port closed, sensor refitted the right way round",
    "adjuster caps and seals back",
    "pressure test points closed and leak-tested",
    "service mode ended, automatic operation",
    "one normal start and stop watched",
    "casing closed and latched",
)
OWNERS = "pressure gauge sticks"  # which the owners have repaired themselves
FOUND = (
    {"what": "condensate trap clogged", "where": "below the heat exchanger", "severity": "repair",
     "action": "clean the trap", "done": True},
    {"what": "case seal worn", "where": "burner door", "severity": "repair", "action": "fit a new seal"},
    {"what": "flue bracket loose", "where": "outside wall", "severity": "urgent", "action": "fasten it again"},
    {"what": OWNERS, "where": "heating circuit", "severity": "repair", "action": "the owner fits a new gauge"},
    {"what": "no label on the isolating valve", "where": "gas pipe", "severity": "note"},
    {"what": "air inlet half covered", "where": "plant room wall", "severity": "urgent",
     "action": "keep it clear", "told": "the caretaker, in person"},
    {"what": "ignition lead cracked", "where": "burner", "severity": "repair", "action": "fit a new lead"},
)  # fmt: skip


@dataclass(frozen=True)
class Stop:
    """One appliance at one attendance: where, when, by whom, as which of the day."""

    life: Life
    member: Member
    begins: datetime
    attendance: uuid.UUID
    called: bool = False

    @property
    def arrived(self) -> datetime:
        """Of the whole attendance; called out, for this appliance alone."""
        return (self.begins if self.called else begins_at(self.day, 0)) - timedelta(minutes=10)

    @property
    def day(self) -> date:
        return self.begins.date()

    def test(self, town: Town, *, logged: bool = True) -> Test:
        return self.test_with(self._instrument(town), town, logged=logged)

    def test_with(self, analyser: Analyser, town: Town, *, logged: bool = True) -> Test:
        self.life.age(self.day, town.rng)
        return Test(self.life, self.member.person, analyser, self.begins, town.bias[analyser.id], town.rng, logged)

    def _instrument(self, town: Town) -> Analyser:
        """The one they carry. That it has lapsed is seen after its first use since; a colleague's serves from then."""
        lapses_on = town.today - timedelta(days=LAPSED_DAYS)
        if self.member.analyser != town.crew[LAPSED].analyser or self.day <= lapses_on:
            return self.member.analyser
        seen, town.lapse_seen = town.lapse_seen, True
        return town.crew[0].analyser if seen else self.member.analyser


def begins_at(day: date, number: int) -> datetime:
    """When the stop of this number of an attendance begins."""
    return datetime.combine(day, time(9), ZoneInfo(TOWN_ZONE)) + timedelta(minutes=35 * number)


def ordinary_body(town: Town, stop: Stop, *, logged: bool = True) -> dict[str, Any]:
    """As found, adjusted where it is off, as left; now and then something to repair, or repaired."""
    life, test = stop.life, stop.test(town, logged=logged)
    readings = [*test.readings("as_found"), *_common_flue(test)]
    work = _work(test, town.rng, len(readings))
    if work:
        life.set_anew(town.rng)
        readings += test.readings("as_left")
    closes, life.defects = life.defects, []
    more: dict[str, Any] = {"closes_defects": closes} if closes else {}
    if logged and town.rng.random() < DEFECT_CHANCE:
        town.found += 1
        more["defects"] = [dict(FOUND[town.found % len(FOUND)])]
    return body(stop, test, readings, work=work, **more)


def send(content: dict[str, Any], *, actor: User, now: datetime) -> Visit:
    """Through the door that every visit comes by."""
    return record_visit(draft=read_visit(content), actor=actor, now=now)


def body(
    stop: Stop,
    test: Test,
    readings: list[dict[str, Any]],
    *,
    work: list[dict[str, Any]] | None = None,
    disposition: dict[str, Any] | None = None,
    **more: Any,
) -> dict[str, Any]:
    """The message. more: what differs from an ordinary visit's."""
    life, person = stop.life, str(stop.member.person.id)
    arrived = stop.arrived
    conditions = {"zero_o2": measured(20.9, 1, "%"), "outdoor_temp": measured(test.air_c - 2, 0, "degC")}
    if test.analyser.co2 != Analyser.Co2.ABSENT:
        conditions |= {name: measured(0, 0, "ppm") for name in ("ambient_co_before", "ambient_co_after", "zero_co")}
    return {
        "schema": "visit/1",
        "id": str(new_id()),
        "attendance": {
            "id": str(stop.attendance),
            "building": str(life.appliance.building_id),
            "arrived_at": arrived.isoformat(),
            "left_at": (arrived + timedelta(hours=1 if stop.called else 8)).isoformat(),
            "people": [person],
        },
        "appliance": str(life.appliance.id),
        "outcome": "tested",
        "data_plate": {"confirmed": True, "serial_seen": life.appliance.serial},
        "conditions": conditions,
        "readings": readings,
        "work": work or [],
        "left_as_found": not work,
        "restore_steps": [{"step": step, "answer": "done"} for step in RESTORE_STEPS],
        "disposition": disposition or {"state": "left_in_use"},
        "inspection_points": {"defects": "see the list" if more.get("defects") else "none", "flue_ok": True},
        "signature": {"person": person, "at": test.at.next()},
    } | more


def _common_flue(test: Test) -> list[dict[str, Any]]:
    """Where several share a flue it is read too; nobody proves the rate of such a reading."""
    if not test.life.common_flue:
        return []
    shared = test.reading("as_found", "high") | {"sampling_point": "common_flue", "rate_proven_by": "not_proven"}
    return [shared]


def _work(test: Test, rng: np.random.Generator, count: int) -> list[dict[str, Any]]:
    """Adjust what is clearly off its target, most times; clean what runs hot. count: readings before it."""
    life = test.life
    targets = life.kind.targets_o2
    off = {rate: test.last_o2[rate] - target for rate, target in targets.items()}
    work: list[dict[str, Any]] = []
    worried = test.highest_co_ppm > CO_WORRIES_PPM
    if worried or (max(abs(each) for each in off.values()) > ADJUSTS_BEYOND and rng.random() < 0.92):
        work += [_turn(life.kind, each, off[each["rate"]], rng, count) for each in life.kind.sheet["adjusters"]]
    if worried:
        life.co_ppm, test.co_today = life.kind.co_median_ppm, 1.0
    if worried or life.flue_rise_k > 15:
        work.append({"kind": "cleaning", "after_reading": count, "component": "burner and heat exchanger"})
    return work


def _turn(
    kind: Kind, adjuster: dict[str, Any], off_o2_pct: float, rng: np.random.Generator, count: int
) -> dict[str, Any]:
    """Sixteenths of a turn that it took, by how the adjuster of the kind answers: an assumption of ours."""
    raises = adjuster["raises_co2"]
    way = raises if off_o2_pct > 0 else OTHER_WAY[raises]
    turns = max(round(16 * abs(off_o2_pct) / kind.o2_per_turn * math.exp(rng.normal(0, 0.15))), 1)
    return {"kind": "adjustment", "after_reading": count, "adjuster": adjuster["name"], "rate": adjuster["rate"],
            "direction": way, "amount": f"{turns}/16 turn", "turns": f"{turns / 16:.3f}"}  # fmt: skip
