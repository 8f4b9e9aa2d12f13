"""The truth behind the demonstration's readings, and what it is drawn with: seeded, and of the shapes asked for."""

from datetime import date

import numpy as np
import pytest

from fleet.demo.pictures import letter_photo, soot_photo
from fleet.demo.places import PLACES
from fleet.demo.sheets import KINDS
from fleet.demo.simulation import begin_life
from fleet.intake.sheets import read_sheet
from fleet.models import Appliance
from fleet.pictures import read_png


def test_each_building_has_a_name_of_its_own_and_one_to_nine_appliances() -> None:
    assert len({each.name for each in PLACES}) == len(PLACES)
    assert {len(each.kinds) for each in PLACES} <= set(range(1, 10))


def test_appliances_of_a_building_are_told_apart() -> None:
    for place in PLACES:
        names = [name for _kind, name, _room in place.appliances()]
        assert len(set(names)) == len(names)


@pytest.mark.parametrize("key", KINDS)
def test_every_sheet_can_be_read(key: str) -> None:
    kind = KINDS[key]
    assert [each["rate"] for each in read_sheet(kind.sheet)["targets"]] == list(kind.targets_o2)


def test_it_drifts_by_its_own_pace_and_adjusting_brings_it_back() -> None:
    lives = [begin_life(Appliance(), "house", 1, np.random.default_rng(n)) for n in range(200)]
    for n, life in enumerate(lives):
        life.drift = dict.fromkeys(life.drift, 0.5)
        life.age(date(2025, 1, 1), np.random.default_rng(n))
        life.age(date(2027, 1, 1), np.random.default_rng(n))
    target = KINDS["house"].targets_o2["high"]
    moved = np.mean([life.o2_pct["high"] for life in lives]) - target
    assert moved == pytest.approx(1.0, abs=0.1)
    for n, life in enumerate(lives):
        life.set_anew(np.random.default_rng(n))
    assert np.mean([life.o2_pct["high"] for life in lives]) == pytest.approx(target, abs=0.05)


@pytest.mark.parametrize("drawn", [soot_photo, letter_photo])
def test_a_picture_is_a_png_that_the_service_takes(drawn: object) -> None:
    assert callable(drawn)
    picture = read_png(drawn())
    assert (picture.width_px, picture.height_px) == (480, 320)
