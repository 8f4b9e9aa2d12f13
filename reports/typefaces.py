"""The typefaces of every paper. All are embedded: a paper must look the same wherever it is opened in ten years.

Atkinson Hyperlegible Next carries the page; DejaVu Sans stands in for the letters that it lacks (Greek, Cyrillic
and others), so that a name is never printed as empty boxes.
"""

from pathlib import Path

from reportlab import rl_config
from reportlab.lib.fonts import addMapping
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

FOLDER = Path(__file__).resolve().parent / "fonts"
REGULAR, BOLD, STAND_IN = "Paper", "Paper-Bold", "Paper-StandIn"
FILES = {
    REGULAR: "AtkinsonHyperlegibleNext-Regular.ttf",
    BOLD: "AtkinsonHyperlegibleNext-Bold.ttf",
    STAND_IN: "DejaVuSans.ttf",
}


# Where nobody chose a face the writer would fall back on one that it doesn't embed.
rl_config.canvas_basefontname = REGULAR


def _register() -> dict[str, frozenset[int]]:
    """Make the faces known to the writer. Returns the code points that each can show."""
    fonts = {name: TTFont(name, str(FOLDER / file)) for name, file in FILES.items()}
    for font in fonts.values():
        pdfmetrics.registerFont(font)
    for family, bold in ((REGULAR, BOLD), (STAND_IN, STAND_IN)):
        for is_bold in (0, 1):
            for is_italic in (0, 1):
                addMapping(family, is_bold, is_italic, bold if is_bold else family)
    return {name: frozenset(font.face.charToGlyph) for name, font in fonts.items()}


COVERS = _register()


def width_pt(text: str, face: str, size_pt: float) -> float:
    """How wide a text is when drawn in one of the faces."""
    return float(pdfmetrics.stringWidth(text, face, size_pt))
