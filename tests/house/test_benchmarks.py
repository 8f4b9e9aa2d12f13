"""What a figure must look like and when it counts as worse, on invented figures: nothing is timed here."""

import json
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from tests.benchmarks import form, kept, run


def figure(name: str = "drift.fit", **given: Any) -> dict[str, Any]:
    return form.checked({"name": name, "value": 12.0, "unit": "ms", "ratio_to": "a loop", "ratio": 4.0} | given)


def invented(monkeypatch: pytest.MonkeyPatch, name: str, figures: Any) -> str:
    """A module that stands among the loaded ones and gives these figures."""
    module = ModuleType(name)
    module.figures = figures  # type: ignore[attr-defined]  # a module made up for the test
    monkeypatch.setitem(sys.modules, name, module)
    return name


@pytest.mark.parametrize("name", ["fit", "speed.fit", "drift", "drift.", "drifting.fit", "", None])
def test_a_figure_is_named_by_its_subject_first(name: Any) -> None:
    with pytest.raises(ValueError, match="name"):
        form.checked({"name": name, "value": 1.0, "unit": "s"})


@pytest.mark.parametrize(
    ("given", "named"),
    [
        ({"value": float("nan")}, "value"),
        ({"value": "fast"}, "value"),
        ({"unit": None}, "unit"),
        ({"ratio": None}, "ratio_to"),
        ({"ratio_to": None}, "ratio"),
        ({"ratio": 0.0}, "ratio"),
        ({"goal": 10}, "met"),
        ({"met": True}, "goal"),
        ({"ratios": 1.0}, "ratios"),
    ],
)
def test_a_figure_that_says_less_or_more_than_it_should_is_refused(given: dict[str, Any], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        figure(**given)


def test_every_figure_has_every_key_and_can_be_written_down() -> None:
    bare = form.checked({"name": "scale.visits", "value": 3, "unit": "visits"})
    assert tuple(bare) == form.KEYS
    assert json.loads(json.dumps(bare)) == bare


def test_the_table_says_which_goal_is_not_met() -> None:
    shown = form.table([figure(goal="at least 10", met=False), figure("api.visits", value=12345.6, goal=3, met=True)])
    heads, first, second = shown.splitlines()
    assert [heads.index(head) for head in ("figure", "unit", "goal", "met")] == sorted(
        first.index(cell) for cell in ("drift.fit", "ms", "at least 10", "NO")
    )
    assert "12,346" in second
    assert second.endswith("yes")


@pytest.mark.parametrize(("ratio", "is_worse"), [(4.0, False), (9.0, False), (3.0, False), (2.99, True)])
def test_a_ratio_may_fall_by_a_quarter_and_no_more(ratio: float, is_worse: bool) -> None:
    before = {"drift.fit": figure(ratio=4.0)}
    assert bool(kept.worse([figure(ratio=ratio)], before)) is is_worse


def test_another_machine_is_no_loss_as_long_as_the_ratio_holds() -> None:
    assert kept.worse([figure(value=1e6)], {"drift.fit": figure(value=1.0)}) == []


def test_figures_without_a_peer_or_never_kept_are_not_compared() -> None:
    bare = figure(ratio=None, ratio_to=None)
    assert kept.worse([bare, figure("drift.new", ratio=0.1)], {"drift.fit": bare}) == []


def test_a_ratio_to_another_peer_is_said() -> None:
    (said,) = kept.worse([figure(ratio_to="a table")], {"drift.fit": figure()})
    assert "a loop" in said
    assert "a table" in said


def test_keeping_some_figures_leaves_the_others(tmp_path: Path) -> None:
    file = tmp_path / "kept.json"
    assert kept.read_kept(file) == {}
    kept.keep([figure(ratio=4.0), figure("api.visits")], {"cores": 2}, file)
    kept.keep([figure(ratio=5.0)], {"cores": 4}, file)
    assert {name: each["ratio"] for name, each in kept.read_kept(file).items()} == {"api.visits": 4.0, "drift.fit": 5.0}
    assert kept.missing([figure()], kept.read_kept(file)) == ["api.visits"]


def test_a_module_that_fails_is_named_and_the_others_are_measured(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    good = invented(monkeypatch, "invented_good", lambda: [figure()])
    bad = invented(monkeypatch, "invented_bad", lambda: [{"name": "speed.fit", "value": 1.0, "unit": "s"}])
    assert run.measure([bad, good, "tests.benchmarks.kept"]) == ([figure()], [bad])
    assert "speed.fit" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("given", "options", "status"),
    [
        ({"ratio": 1.0, "goal": 3, "met": False}, [], 0),
        ({"ratio": 1.0}, ["--check"], 2),
        ({"ratio": 4.0, "goal": 9, "met": False}, ["--check"], 0),
        ({"ratio": float("inf")}, ["--check"], 1),
    ],
)
def test_the_exit_status_tells_a_failure_from_a_loss(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, given: dict[str, Any], options: list[str], status: int
) -> None:
    given = {"name": "drift.fit", "value": 1.0, "unit": "s", "ratio_to": "a loop"} | given
    name = invented(monkeypatch, "invented_only", lambda: [given])
    monkeypatch.setattr(run, "_benchmarks", lambda _: [name])
    monkeypatch.setattr(run, "RESULTS", tmp_path / "bench.json")
    monkeypatch.setattr(run, "KEPT", tmp_path / "kept.json")
    kept.keep([figure(ratio=4.0)], {}, tmp_path / "kept.json")
    assert run.main(options) == status
    written = json.loads((tmp_path / "bench.json").read_text())
    assert set(written) == {"machine", "figures"}
    assert written["machine"]["cores"] >= 1
