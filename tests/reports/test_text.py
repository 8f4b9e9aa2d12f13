"""The one door for words: nothing that anybody typed is read as markup, and nothing is lost without a sign."""

import ast
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reportlab.platypus import Paragraph

import reports
from reports.paper import BODY
from reports.text import MOST_CHARACTERS, UNKNOWN_LETTER, Bold, clean, paragraph

ROOM = Path(reports.__file__).parent
MANUFACTURERS = {"Paragraph", "XPreformatted", "ParaParser"}
CLOCKS = {"now", "today", "utcnow", "time"}


def shown(made: Paragraph) -> str:
    return str(made.getPlainText())


def test_markup_is_shown_and_not_read() -> None:
    text = '<img src="/etc/passwd"/> & <b>A</b> <C'
    assert shown(paragraph(BODY, text)) == text


def test_control_and_direction_characters_vanish_and_line_breaks_become_spaces() -> None:
    assert clean("gas\u202e\x00 valve\r\n\tshut\u200b") == "gas valve shut"
    assert clean("half a pair \ud800") == "half a pair"


def test_too_long_a_text_is_cut_and_says_so() -> None:
    cut = clean("x" * 20_000)
    assert len(cut) == MOST_CHARACTERS
    assert cut.endswith("…")
    assert clean("abcdef", most=4) == "abc…"


def test_a_long_word_breaks_instead_of_running_off_the_page() -> None:
    made = paragraph(BODY, "x" * 500)
    _, height = made.wrap(100, 1000)
    assert height > 20 * BODY.leading


def test_greek_and_cyrillic_are_set_in_the_stand_in_and_what_no_face_has_is_marked() -> None:
    made = paragraph(BODY, "Σωτήρης, Ключ, 中")
    assert shown(made) == f"Σωτήρης, Ключ, {UNKNOWN_LETTER}"
    assert {frag.fontName for frag in made.frags} == {"Paper", "Paper-StandIn"}


def test_pieces_keep_the_spaces_between_them() -> None:
    assert shown(paragraph(BODY, Bold("Note: "), "plate seen")) == "Note: plate seen"


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.text(max_size=80), st.integers(1, 50))
def test_cleaning_twice_changes_nothing_more(text: str, most: int) -> None:
    once = clean(text, most)
    assert clean(once, most) == once
    assert len(once) <= most


def modules() -> list[Path]:
    return sorted(each for each in ROOM.glob("*.py") if each.name != "text.py")


@pytest.mark.parametrize("path", modules(), ids=lambda path: path.name)
def test_no_other_module_makes_a_paragraph_or_reads_a_clock(path: Path) -> None:
    tree = ast.parse(path.read_text())
    imported = {name.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for name in node.names}
    called = {
        node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
    }
    assert not MANUFACTURERS & (imported | called)
    assert not CLOCKS & called
    assert "settings" not in imported
