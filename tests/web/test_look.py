"""The style sheet and the fonts."""

import re
from pathlib import Path

import pytest
from reportlab.pdfbase.ttfonts import TTFont

WEB = Path(__file__).resolve().parents[2] / "fleet" / "web"
PAPER_FONTS = Path(__file__).resolve().parents[2] / "reports" / "fonts"
LOOK = (WEB / "static" / "look.css").read_text()
NEEDED_ON_PAPER = (
    "0123456789 CO₂ O₂ NOₓ ₀₁₃₄₅₆₇₈₉ ± ° ≤ ≥ − → ← ↑ ↓ – — … × · ² ³ µ ’ “ ” € ÅåÉéÑñßŁłŐőŠšŽžÇçØøÞþĞğİı\u202f"
)


def _sets() -> list[dict[str, str]]:
    """Each set of tokens, completed from the light one."""
    light: dict[str, str] = {}
    sets = []
    for block in re.findall(r":root \{(.*?)\}", LOOK, re.S):
        tokens = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{3,6})", block))
        if tokens:
            sets.append(light | tokens)
            light = light or tokens
    return sets


def _luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.2."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    parts = [int(digits[n : n + 2], 16) / 255 for n in (0, 2, 4)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    """Contrast ratio by WCAG 2.2."""
    bright, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_black_on_white_has_the_contrast_that_wcag_gives() -> None:
    assert _contrast("#000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("number", range(5))
def test_every_set_of_colours_can_be_read(number: int) -> None:
    tokens = _sets()[number]
    for ground in ("ground", "well"):
        assert _contrast(tokens["ink"], tokens[ground]) >= 7
        assert _contrast(tokens["ink-2"], tokens[ground]) >= 4.5
        assert _contrast(tokens["out"], tokens[ground]) >= 4.5
    assert _contrast(tokens["edge"], tokens["ground"]) >= 3
    # On paper the stretch is grey, and its outline carries the contrast.
    assert _contrast(tokens["stretch"], tokens["ground"]) >= (2 if number == 4 else 3)


def test_light_dark_two_of_high_contrast_and_paper_are_all_there() -> None:
    assert len(_sets()) == 5
    for query in ("prefers-color-scheme: dark", "prefers-contrast: more", "forced-colors: active", "print"):
        assert f"@media ({query})" in LOOK or f"@media {query}" in LOOK


def test_focus_is_a_thick_outline_and_acts_are_44_px_high() -> None:
    assert ":focus-visible { outline: 3px solid var(--ink); outline-offset: 3px; }" in LOOK
    assert "--press: 2.75rem" in LOOK


def test_colours_stand_only_among_the_tokens() -> None:
    rules = re.sub(r":root \{.*?\}", "", LOOK, flags=re.S)
    rules = rules[: rules.index("@media print")]
    assert re.findall(r"#[0-9a-f]{3,6}\b", rules) == []


def test_nothing_comes_from_another_place() -> None:
    assert "http" not in LOOK
    for name in re.findall(r'url\("(.*?)"\)', LOOK):
        assert (WEB / "static" / name).read_bytes()[:4] == b"wOF2"


@pytest.mark.parametrize("template", sorted((WEB / "templates").rglob("*.html")), ids=lambda path: path.name)
def test_no_template_carries_style_or_script_of_its_own(template: Path) -> None:
    source = template.read_text()
    assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=", source)


@pytest.mark.parametrize("name", ["Regular", "Bold"])
def test_the_paper_fonts_hold_every_sign_that_a_record_needs(name: str) -> None:
    face = TTFont(name, PAPER_FONTS / f"AtkinsonHyperlegibleNext-{name}.ttf").face
    assert [char for char in NEEDED_ON_PAPER if ord(char) not in face.charToGlyph] == []
    assert len({face.charWidths[ord(digit)] for digit in "0123456789"}) == 1


@pytest.mark.parametrize("folder", [WEB / "static" / "fonts", PAPER_FONTS])
def test_the_fonts_carry_their_licence(folder: Path) -> None:
    assert "SIL OPEN FONT LICENSE Version 1.1" in (folder / "OFL.txt").read_text()
