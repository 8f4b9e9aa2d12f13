"""Every code has its sentence with every figure in it, and no sentence shows how the program keeps it."""

import ast
import re
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet import tasks
from fleet.combustion import Doubt
from fleet.errors import Conflict, FleetError
from fleet.limits.verdicts import Verdict
from fleet.presentation import codes, diagnoses, due_dates, intervals, questions, revisits, verdicts
from fleet.presentation.due_dates import date_words, doubt_words
from fleet.presentation.glossary import CHAPTERS
from fleet.presentation.questions import oddity_words, unsteady_words
from fleet.presentation.sentences import all_texts, refusals, sentences
from tests.limits.cast import make_verdict
from tests.presentation.sentences import faults_of, figures_for, is_whole, named_in

ROOT = Path(__file__).resolve().parents[2] / "fleet"
API = ROOT.parent / "api"
# What makes a code with its figures; the last two also say what was given.
MAKERS = ("coded", "as_row", "wrong", "refused")
DAY = date(2026, 3, 2)
REFUSALS = {each.__name__ for each in (FleetError, *FleetError.__subclasses__())}
# Tables of sentences by code, and what else a template of theirs is given by whoever says it.
TABLES: dict[str, tuple[dict[str, Any], set[str]]] = {
    "steps": (due_dates.STEPS, {"before"}),
    "doubts": (due_dates.DOUBTS, set()),
    "intervals": (intervals.INTERVALS, set()),
    "questions": (questions.QUESTIONS, set()),
    "unsteady": (questions.UNSTEADY, {"unit"}),
    "doubts of a reading": (diagnoses.DOUBTS, set()),
    "who goes": (revisits._WHO_DOUBTS, set()),
    "reasons": (verdicts.REASONS, {"label", "value", "rule"}),
    "what is kept": (verdicts.KEEPS, set()),
    "what is wrong with a value": (sentences("wrong"), set()),
    "why a webhook failed": (sentences("webhook_failures"), set()),
    "what the audit trail says": (sentences("access_changes"), set()),
}
# Codes said by a function of their own rather than by a template.
SAID_OTHERWISE = {
    # why a flag was closed: follow_ups.closed_words
    *("within_again", "set_ended", "out_of_service", "visit_moved", "series_ended", "from_assumptions", "chance_fell"),
    # why to come: revisits.reason_words
    *("required_check", "retest", "defect", "undecided", "nothing_left", "flag", "forecast"),
    # why a visit didn't count: due_dates._why_not
    *("not_tested", "fields_lacking", "no_reading_judged_for_co"),
    # what was read: codes.label_words
    *codes.LABELS,
}


@cache
def emitted() -> tuple[tuple[str, set[str], bool, str], ...]:
    return tuple(_emitted())


def _emitted() -> Iterator[tuple[str, set[str], bool, str]]:
    """Every code that is kept somewhere: its figures by name, whether all of them are seen, and where."""
    for path in (*sorted(ROOT.rglob("*.py")), *sorted(API.glob("*.py"))):
        text = path.read_text()
        for node in ast.walk(ast.parse(text)) if any(f"{each}(" in text for each in MAKERS) else ():
            if not isinstance(node, ast.Call) or getattr(node.func, "id", "") not in MAKERS or not node.args:
                continue
            for code in _literals(node.args[0]):
                named = {each.arg for each in node.keywords if each.arg}
                is_whole_call = all(each.arg for each in node.keywords)
                yield code, named, is_whole_call, f"{path.relative_to(ROOT.parent)}:{node.lineno}"


def _literals(code: ast.expr) -> list[str]:
    """The code, or both of a choice between two; none where it comes from elsewhere."""
    if isinstance(code, ast.IfExp):
        return [*_literals(code.body), *_literals(code.orelse)]
    return [code.value] if isinstance(code, ast.Constant) else []


def templates_of(code: str) -> list[tuple[str, set[str]]]:
    return [(str(table[code]), given) for table, given in TABLES.values() if code in table]


def test_every_code_that_is_kept_has_its_sentence() -> None:
    found = emitted()
    assert len(found) > 50
    assert [each[0] for each in found if not templates_of(each[0]) and each[0] not in SAID_OTHERWISE] == []


def test_every_sentence_is_given_each_figure_that_it_names() -> None:
    missing = [
        f"{where} {code}: {sorted(lacking)}"
        for code, named, is_seen, where in emitted()
        for template, given_besides in templates_of(code)
        # A code of two sentences may be one of either table.
        if is_seen and (lacking := named_in(template) - named - given_besides) and len(templates_of(code)) == 1
    ]
    assert missing == []


@pytest.mark.parametrize("name", TABLES)
def test_no_two_codes_of_a_table_say_the_same(name: str) -> None:
    said = [str(each) for each in TABLES[name][0].values()]
    assert len(set(said)) == len(said)


# ---- each of every table, said ----


def doubted(reason: list[Any]) -> Verdict:
    own = {"label": ["co", {}], "quantity": "co", "value": 140.0, "qualifier": "more_than", "decision_rule": "guarded"}
    return make_verdict(**own, reasons=[reason])


SAYING = {
    "steps": lambda code, figures: date_words([("last", {"last_on": "2025-03-02"}), (code, figures)]),
    "doubts": lambda code, figures: doubt_words([(code, figures)]),
    "questions": oddity_words,
    "unsteady": lambda code, figures: unsteady_words((code, figures | {"quantity": "co"})),
    "doubts of a reading": lambda code, figures: diagnoses.doubt_words(Doubt(code, figures, False)),
    "reasons": lambda code, figures: verdicts.reason_words(doubted([code, figures])),
    "what is kept": lambda code, figures: verdicts.keeps_words([code, figures]),
}
WHOLE = {"steps", "questions", "doubts of a reading"}


def figures_of(name: str, template: str) -> dict[str, Any]:
    if name == "doubts of a reading":
        return dict.fromkeys(named_in(template), 9.1234) | {"o2_pct": 9.1234}
    numbers = {"allowed": 0.3, "moved": 0.41} if name == "unsteady" else {}
    given_besides = TABLES[name][1]
    return {each: value for each, value in (figures_for(template) | numbers).items()
            if each in named_in(template) - given_besides}  # fmt: skip


@pytest.mark.parametrize(("name", "code"), [(name, code) for name in SAYING for code in TABLES[name][0]])
def test_each_is_said_in_plain_words_of_at_most_sixty(name: str, code: str) -> None:
    figures = figures_of(name, str(TABLES[name][0][code]))
    # A reason is coded on its own for a table that has it as one figure.
    if name == "questions":
        figures.pop("why", None)
    said = SAYING[name](code, figures)
    assert faults_of(said, most_words=60) == [], said
    assert is_whole(said) == (name in WHOLE), said


def test_a_question_that_has_its_reason_says_it_after_a_colon() -> None:
    reason = ("gap", {"gap_s": 61.0})
    said = oddity_words("steadiness_differs", {"reading": 2, "called": "steady", "why": reason})
    assert said == "Reading 2 was called steady; its series shows otherwise: gap of 61 s in the series."


STEP = st.sampled_from([each for each in due_dates.STEPS if each != "no_evidence"])


@given(st.lists(STEP, min_size=1, max_size=4))
def test_steps_in_any_order_make_sentences_with_one_stop_each(chosen: list[str]) -> None:
    # What takes up the step before needs one.
    steps = [("last", {"last_on": "2025-03-02"})]
    steps += [(each, figures_of("steps", str(due_dates.STEPS[each]))) for each in chosen]
    said = date_words(steps)
    assert faults_of(said) == [], said
    assert is_whole(said)
    templates = [str(due_dates.STEPS[each]) for each in chosen]
    assert said.count(". ") == sum(("%(before)s" not in each) + each.count(". ") for each in templates)


def test_nothing_to_say_is_said_by_nothing() -> None:
    assert (date_words([]), doubt_words([]), unsteady_words(None)) == ("", "", "")


# ---- words for codes ----


@pytest.mark.parametrize("code", codes.WORDS)
def test_a_code_with_a_word_of_its_own_is_not_said_as_spelt(code: str) -> None:
    said = codes.code_words(code)
    assert faults_of(said) == []
    assert said not in (code, code.replace("_", " "))


@given(st.from_regex(r"[a-z]{1,8}(_[a-z0-9]{1,8}){0,4}", fullmatch=True))
def test_a_code_is_never_shown_with_its_underscores(code: str) -> None:
    assert "_" not in codes.code_words(code)


# ---- the glossary ----


def test_each_word_of_the_glossary_has_an_address_of_its_own_and_whole_sentences() -> None:
    terms = [each for chapter in CHAPTERS for each in chapter["terms"]]
    assert len({each["anchor"] for each in terms}) == len({str(each["word"]) for each in terms}) == len(terms)
    for each in terms:
        assert each["anchor"].replace("-", "").isalnum() and each["anchor"] == each["anchor"].lower()
        assert faults_of(str(each["meaning"]), most_words=60) == []
        assert is_whole(str(each["meaning"])), each["anchor"]


def test_translators_see_every_sentence_of_the_tables_and_the_glossary() -> None:
    texts = list(all_texts())
    assert all(isinstance(each, str) for each in texts)
    assert {str(term["meaning"]) for chapter in CHAPTERS for term in chapter["terms"]} <= set(texts)
    assert {str(each) for each in sentences("webhook_failures").values()} <= set(texts)


# ---- none is made elsewhere ----

# How sources name rates; names and sources of fuels and of regulations.
NO_SENTENCES = {"limits/quantities.py", *("combustion/fuels.py", "combustion/fuel_rows.py", "combustion/regulation.py")}


def _words_in(path: Path) -> list[str]:
    """Literals with a space between words, but for docstrings, refusals and annotations."""
    tree = ast.parse(path.read_text())
    apart = {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.Raise | ast.arg)
        or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant))
        or (isinstance(node, ast.FunctionDef) and isinstance(node.returns, ast.Constant))
        for part in ast.walk(node if not isinstance(node, ast.FunctionDef) else node.returns or node)
    }
    literals = (each for each in ast.walk(tree) if isinstance(each, ast.Constant) and id(each) not in apart)
    return [each.value for each in literals if isinstance(each.value, str) and re.search(r"[a-z] [a-z]", each.value)]


@pytest.mark.parametrize("room", ["limits", "intervals", "combustion"])
def test_no_sentence_is_made_where_it_is_judged(room: str) -> None:
    paths = [each for each in sorted((ROOT / room).glob("*.py")) if f"{room}/{each.name}" not in NO_SENTENCES]
    assert {path.name: found for path in paths if (found := _words_in(path))} == {}


def test_a_refusal_is_said_in_the_readers_language_with_its_figures() -> None:
    refused = Conflict("already_ended", "It was started again on %(day)s; nothing was changed.", figures={"day": DAY})
    assert refused.message == f"It was started again on {DAY}; nothing was changed."
    assert codes.refused_words(refused) == "It was started again on 2 March 2026; nothing was changed."
    assert {refused.template, "There is no such visit that you may see."} <= set(refusals())


def test_no_refusal_is_made_of_figures_that_a_translator_cannot_move() -> None:
    """Each second argument of a refusal is a plain template, of which all named figures are given."""
    for path in [*ROOT.rglob("*.py"), *(ROOT.parent / "api").glob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in REFUSALS and len(node.args) > 1:
                assert not isinstance(node.args[1], ast.JoinedStr), f"{path.name}:{node.lineno}"
                template = getattr(node.args[1], "value", "")
                given = next((each.value for each in node.keywords if each.arg == "figures"), None)
                names = {getattr(each, "value", "") for each in given.keys} if isinstance(given, ast.Dict) else set()
                assert named_in(str(template)) == names, f"{path.name}:{node.lineno}"


def test_each_kind_of_background_work_has_its_words() -> None:
    """Without them a page would show its code."""
    assert sentences("background_work").keys() == tasks.HANDLERS.keys()


def test_what_is_due_on_the_day_it_was_found_isn_t_counted_from_it() -> None:
    found = {"found_on": "2026-03-02", "due_on": "2026-03-02", "days": 0}
    assert date_words([("by_own_choice", found)]) == (
        "by the contractor's own choice: on the day it was found, 2 March 2026."
    )
