import re
from dataclasses import replace
from datetime import date
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from fleet.presentation.drift_chart import DriftChart, DriftVisit, Outcome, drift_words
from fleet.web.charts import NARROW, WIDE, Size, drift_svg, spread
from tests.web.drawn import kinds, texts, title
from tests.web.samples import CHARTS, TODAY

FIVE = CHARTS["five visits and a fan"]


def _of(svg: str, kind: str) -> list[dict[str, str]]:
    return [each.attrib for each in ElementTree.fromstring(svg).iter() if each.get("class") == kind]


@pytest.mark.parametrize("name", CHARTS)
@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_every_chart_is_a_labelled_picture_without_style_or_script(name: str, size: Size) -> None:
    svg = drift_svg(CHARTS[name], size)
    parsed = ElementTree.fromstring(svg)
    assert parsed.get("role") == "img"
    assert title(svg) == drift_words(CHARTS[name])
    assert all(key != "style" and not key.startswith("on") for each in parsed.iter() for key in each.attrib)
    assert "nan" not in re.sub(r"<title>.*?</title>", "", svg)


def test_limits_band_target_unit_and_today_are_named() -> None:
    shown = texts(drift_svg(FIVE, WIDE))
    assert {"9.90 limit", "9.30 band", "9.00 target", "8.70 band", "8.20 limit", "% dry", "today"} < set(shown)
    assert {"2023", "2024", "2025", "2026", "2027", "8.5", "9.0", "9.5"} < set(shown)


def test_each_visit_has_an_open_end_found_and_a_filled_end_left() -> None:
    svg = drift_svg(replace(FIVE, due=None), WIDE)
    assert (len(_of(svg, "found")), len(_of(svg, "left")), len(_of(svg, "stem"))) == (4, 5, 4)


def test_the_slanting_line_runs_from_left_to_next_found() -> None:
    svg = drift_svg(replace(FIVE, due=None), WIDE)
    first_path, first_found = _of(svg, "path")[0], _of(svg, "found")[0]
    assert (first_path["x2"], first_path["y2"]) == (first_found["cx"], first_found["cy"])
    assert first_path["y1"] == _of(svg, "left")[0]["cy"]


def test_higher_values_stand_higher_and_later_days_further_right() -> None:
    svg = drift_svg(FIVE, WIDE)
    target, edges = float(_of(svg, "target")[0]["y1"]), [float(edge["y1"]) for edge in _of(svg, "edge")]
    assert min(edges) < target < max(edges)
    across = [float(left["cx"]) for left in _of(svg, "left")]
    assert across[:5] == sorted(across[:5])


@pytest.mark.parametrize("name", ["five visits and a fan", "a rising ceiling quantity"])
def test_the_fan_ends_where_the_hatching_begins(name: str) -> None:
    svg = drift_svg(CHARTS[name], WIDE)
    window = _of(svg, "window")[0]
    top, bottom = float(window["y"]), float(window["y"]) + float(window["height"])
    for hatched in _of(svg, "beyond")[:2]:
        hatched_top = float(hatched["y"])
        is_in_the_plot = hatched_top + 12 <= top + 0.05 or hatched_top >= bottom - 0.05
        assert is_in_the_plot
    assert window["viewBox"].split() == [f"{float(window[key]):.2f}" for key in ("x", "y", "width", "height")]


def test_the_due_rule_stands_on_the_scale_of_the_days() -> None:
    svg = drift_svg(FIVE, WIDE)
    planned, today, used_up = _of(svg, "left")[-1], _of(svg, "today")[0], _of(svg, "found")[-1]
    assert float(used_up["cx"]) < float(today["x1"]) < float(planned["cx"])


def test_a_visit_read_once_stands_for_itself_and_one_never_read_is_left_out() -> None:
    visits = [DriftVisit(date(2026, 1, 5), 9.0, None), DriftVisit(date(2026, 6, 5), None, None)]
    chart = DriftChart("O₂", "%", 1, visits, TODAY)
    svg = drift_svg(chart, WIDE)
    assert (len(_of(svg, "found")), len(_of(svg, "left")), len(_of(svg, "path"))) == (1, 0, 0)
    assert drift_words(chart) == "O₂, %. 1 visit, 5 January 2026. Last reading 9.0."


def test_visits_may_come_in_any_order() -> None:
    turned = replace(FIVE, visits=list(reversed(FIVE.visits)))
    assert drift_svg(turned, WIDE) == drift_svg(FIVE, WIDE)


def test_nothing_that_is_never_negative_gets_negative_ticks() -> None:
    chart = DriftChart("CO", "ppm", 0, [DriftVisit(date(2026, 1, 5), 0, 0)], TODAY, upper=300)
    assert not any(text.startswith("−") for text in texts(drift_svg(chart, WIDE)))


def test_the_words_give_the_last_outcomes() -> None:
    assert "On 9 May 2027 90 of 100 outcomes lie within 8.22 to 9.04" in drift_words(FIVE)


def test_names_near_each_other_are_moved_apart() -> None:
    heights = spread([100, 101, 102, 300], 17, 30, 310)
    assert all(b - a >= 17 for a, b in pairwise(heights))
    assert 30 <= heights[0] <= heights[-1] <= 310
    assert spread([50, 200], 17, 30, 310) == [50, 200]
    assert spread([], 17, 30, 310) == []


def test_falling_limits_and_crossed_outcomes_are_refused() -> None:
    with pytest.raises(ValueError, match="limits must rise"):
        DriftChart("O₂", "%", 1, [], TODAY, lower=5, upper=4)
    with pytest.raises(ValueError, match="must rise from low90"):
        Outcome(TODAY, 3, 2, 4, 5, 6)


def test_the_narrow_drawing_has_fewer_ticks() -> None:
    wide, narrow = (drift_svg(CHARTS["a rising ceiling quantity"], size) for size in (WIDE, NARROW))
    assert len(texts(narrow)) < len(texts(wide))
    assert "path" in kinds(narrow)
