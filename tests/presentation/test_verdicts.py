"""The words for a verdict, whole: one sentence of each outcome, and how well its limit is known."""

import re

import pytest

from fleet.limits import evaluate
from fleet.presentation.codes import quantity_label
from fleet.presentation.verdicts import basis_words, reason_words, verdict_sentence
from tests.limits.cast import make_card, make_verdict, one_limit_set, reading, sheet, target, the
from tests.limits.test_quantities import LIMITS


def row_of(**more):
    return {
        "rate": None, "phase": None, "qualifier": "=",
        "kind": "limit", "label": ["co", {}], "quantity": "co",
        "lower": None, "upper": 100.0, "unit": "ppm", "keeps": ["at_most", {"upper": 100.0}],
        "set_name": "a set", "set_version": "3", "evidence": "official_text_read", "review": "reviewed",
        "reviewed_by": "a person",
    } | more  # fmt: skip


AT_HIGH = {"rate": "high", "phase": "as_found"}


@pytest.mark.parametrize(
    ("row", "seen", "value", "said", "outcome", "reason", "words"),
    [
        ({}, AT_HIGH, 40.0, "=", "within", "",
         "CO 40 ppm at high fire, as found (limit ≤ 100 ppm): within the limits of a set v3 as recorded."),
        ({}, AT_HIGH, 140.0, "more_than", "outside", "invalid",
         ("CO more than 140 ppm at high fire, as found (limit ≤ 100 ppm): "
         "outside the limits of a set v3 as recorded (the reading is invalid).")),
        ({}, {"rate": "high"}, None, "not_measured", "not_judged", "not_read",
         "CO at high fire (limit ≤ 100 ppm): not judged: no CO read."),
        ({}, {"phase": "between"}, 140.0, "less_than", "cannot_tell", "only_a_bound",
         "CO less than 140 ppm, between (limit ≤ 100 ppm): can't be decided: the reading says only less than 140."),
        ({"unit": "1", "quantity": "soot_number", "keeps": None}, {}, 1.0, "=", "outside", "",
         "CO 1: outside the limits of a set v3 as recorded."),
        ({"unit": "", "keeps": None}, {}, 140.0, "=", "outside", "",
         "CO 140: outside the limits of a set v3 as recorded."),
        ({"unit": "", "keeps": ["is", {"word": "stable"}]}, {}, "lifting", "=", "outside", "",
         "CO lifting (limit stable): outside the limits of a set v3 as recorded."),
        ({"upper": 100.0}, {}, 100.04, "=", "outside", "",
         "CO 100.04 ppm (limit ≤ 100 ppm): outside the limits of a set v3 as recorded."),
        ({"lower": 100.0, "upper": None}, {}, 99.96, "=", "outside", "",
         "CO 99.96 ppm (limit ≤ 100 ppm): outside the limits of a set v3 as recorded."),
    ],
)  # fmt: skip
def test_a_verdict_is_worded_so(row, seen, value, said, outcome, reason, words):
    fields = row_of(**row) | seen | {"value": value, "qualifier": said, "outcome": outcome}
    fields["reasons"] = [[reason, {}]] if reason else []
    assert verdict_sentence(make_verdict(**fields)) == words


@pytest.mark.parametrize(
    ("row", "end"),
    [
        ({}, "as recorded."),
        ({"evidence": "quoted_elsewhere"}, "as recorded."),
        ({"evidence": "unverified"}, "as recorded [limit unverified]."),
        ({"evidence": "own"}, "as recorded [own figures, no outside source]."),
        ({"evidence": "hearsay"}, "as recorded [hearsay]."),
        ({"review": "unreviewed"}, "as recorded [set not reviewed]."),
        ({"review": "unreviewed", "evidence": "unverified"}, "as recorded [set not reviewed; limit unverified]."),
        ({"review": "", "evidence": ""}, "as recorded."),
        ({"kind": "stop_level", "review": "unreviewed", "evidence": "unverified"}, "as recorded."),
    ],
)
def test_how_well_a_limit_is_known_stands_at_the_end(row, end):
    words = verdict_sentence(make_verdict(**row_of(**row), value=40.0, outcome="within"))
    assert words == f"CO 40 ppm (limit ≤ 100 ppm): within the limits of a set v3 {end}"


GUARDED = {"decision_rule": "guarded"}


@pytest.mark.parametrize(
    ("limit", "seen", "outcome", "words"),
    [
        ({}, {}, "within",
         "CO 40 ppm at high fire, as found (limit ≤ 100 ppm): within the limits of test set v3 as recorded."),
        ({}, {"co_ppm": 140.0, "phase": "as_left"}, "outside",
         "CO 140 ppm at high fire, as left (limit ≤ 100 ppm): outside the limits of test set v3 as recorded."),
        ({}, {"invalid": True}, "not_judged",
         "CO 40 ppm at high fire, as found (limit ≤ 100 ppm): not judged: the reading is invalid."),
        ({}, {"invalid": True, "co_ppm": 140.0}, "outside",
         ("CO 140 ppm at high fire, as found (limit ≤ 100 ppm): "
         "outside the limits of test set v3 as recorded (the reading is invalid).")),
        (GUARDED, {"co_ppm": 99.0}, "cannot_tell",
         ("CO 99 ppm at high fire, as found (limit ≤ 100 ppm): can't be decided: "
         "too near the limit for the analyser's recorded accuracy.")),
        ({}, {"co_ppm": 140.0, "qualifiers": {"co": "less_than"}}, "cannot_tell",
         ("CO less than 140 ppm at high fire, as found (limit ≤ 100 ppm): can't be decided: "
         "the reading says only less than 140.")),
        ({"firing_rate": "low", "when": "as_left"}, {}, "not_judged",
         "CO (limit ≤ 100 ppm): not judged: needs CO at low fire, as left."),
        ({"basis": "air_free", "unit": "ppm"}, {"co2_pct": None}, "not_judged",
         "CO air-free at least 40 ppm at high fire, as found (limit ≤ 100 ppm): not judged: neither O₂ nor CO₂ read."),
        ({"select": {"room": "cellar", "vent": "warm"}}, {}, "cannot_tell",
         ("CO 40 ppm at high fire, as found (limit ≤ 100 ppm): can't be decided: "
         "room, vent not recorded, so whether this limit applies isn't known.")),
        ({"select": {"room": "cellar"}, "severity": "shut_down"}, {"co_ppm": 140.0, "steady": False}, "outside",
         ("CO 140 ppm at high fire, as found (limit ≤ 100 ppm): outside the limits of test set v3 as recorded "
         "(room not recorded; the reading is not steady).")),
        ({"fires_when": {"op": "between", "value": [30, 60]}}, {"co_ppm": 60.5}, "not_judged",
         ("CO 60 ppm at high fire, as found (limit < 30 ppm): "
         "not judged: above this range, where a stricter limit decides.")),
        ({"fires_when": {"op": "between", "value": [30, 60]}}, {"co_ppm": 60.0}, "outside",
         "CO 60 ppm at high fire, as found (limit < 30 ppm): outside the limits of test set v3 as recorded."),
        ({"quantity": "co_on_record", "fires_when": {"op": "missing", "value": None}, "limit_text": "present"},
         {"co_ppm": None}, "outside",
         "co on record (limit present): outside the limits of test set v3 as recorded (co on record not on record)."),
    ],
)  # fmt: skip
def test_one_verdict_of_each_outcome_is_worded_so(limit, seen, outcome, words):
    verdict = the(evaluate(make_card(one_limit_set(**limit)), [reading(**seen)]), kind="limit")
    assert (verdict.outcome, verdict_sentence(verdict)) == (outcome, words)


def test_a_sample_that_is_mostly_air_is_worded_so():
    said = evaluate(make_card(), [reading(co2_pct=None, o2_pct=18.6)])
    assert verdict_sentence(the(said, kind="stop_level", quantity="co")) == (
        "CO 40 ppm at high fire, as found: not judged: O₂ 18.6 % is mostly air, so there is no air-free figure: "
        "repeat at a proper sampling point."
    )
    stopped = evaluate(make_card(), [reading(co2_pct=None, o2_pct=18.6, co_ppm=None, flame="lifting")])
    diluted = the(stopped, kind="stop_level", quantity="co")
    assert (verdict_sentence(diluted), diluted.qualifier, diluted.action) == (
        "CO at high fire, as found: not judged: O₂ 18.6 % is mostly air, so there is no air-free figure.",
        "not_measured",
        "",
    )


@pytest.mark.parametrize(
    ("seen", "reason"),
    [
        ({"casing": "open"}, "the target is for casing closed, read with casing open"),
        ({"casing": None}, "the target is for casing closed, read with casing not recorded"),
        ({"rate_proven": False}, "the rate isn't proven"),
        ({"sampling_point": "common_flue"}, "read in the common flue, which belongs to the flue group"),
        ({"steady": False}, "the reading is not steady"),
        ({"co2_pct": None, "o2_pct": 18.25}, "O₂ 18.2 % is mostly air"),
        ({"rate_proven": False, "invalid": True}, "the reading is invalid"),
    ],
)
def test_why_a_target_is_not_judged(seen, reason):
    page = sheet(targets=[target(casing="closed")], adjusters=[])
    band = the(evaluate(make_card(the_sheet=page), [reading(**seen)]), kind="band")
    assert reason_words(band) == reason


def test_every_basis_of_the_reference_is_a_code_with_words() -> None:
    bases = {limit.get("basis") or "" for limit in LIMITS} - {""}
    assert all(re.fullmatch("[a-z0-9_]+", each) for each in bases)
    assert not [each for each in bases if "_" in basis_words(each)]
    assert basis_words("mean_of_three") == "mean of three spots, rounded to a whole one"


def test_as_measured_is_said_of_gases_in_the_flue_alone():
    assert basis_words("as_measured", "co") == "as measured"
    assert [basis_words("as_measured", each) for each in ("ambient_co_rise", "flame")] == ["", ""]


def test_a_basis_doesn_t_say_again_what_the_label_says() -> None:
    assert (quantity_label("co", "air_free"), basis_words("air_free")) == ("CO air-free", "20.9 % O₂ in air")
    assert (quantity_label("nox", "dry_at_3_pct_o2"), basis_words("dry_at_3_pct_o2", "nox")) == ("NOx at 3 % O₂", "dry")
    assert (quantity_label("ambient_co", "ambient"), basis_words("ambient", "ambient_co")) == ("CO in the room", "")
