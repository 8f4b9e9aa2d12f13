"""Text on paper: the one way by which words, ours or anybody's, become a paragraph.

The paragraph writer reads markup, and its markup can open files and name addresses. So nothing gets there that was
not cleaned and escaped here; no other module of this room makes a paragraph.
"""

import re
import unicodedata
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from xml.sax.saxutils import escape

from reportlab import rl_config
from reportlab.lib.fonts import addMapping
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph

MOST_CHARACTERS = 2000
UNKNOWN_LETTER = "□"
# Controls, direction marks and other invisible ones, halves of surrogate pairs, private and unassigned code points.
UNWANTED_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})
_BREAKS = re.compile("[\t\n\x0b\x0c\r\x85\u2028\u2029 ]+")


class Bold(str):
    """A piece of a paragraph that is set in bold."""


def clean(text: object, most: int = MOST_CHARACTERS) -> str:
    """On one line, in Unicode NFC, without invisible or reordering characters, at most so many characters.

    >>> clean("gas\\u202e valve\\n shut")
    'gas valve shut'
    """
    # What is far too long is cut before it costs anything; composing and stripping only shorten it.
    line = _BREAKS.sub(" ", unicodedata.normalize("NFC", str(text)[: 4 * most]))
    kept = "".join(each for each in line if unicodedata.category(each) not in UNWANTED_CATEGORIES).strip()
    return kept if len(kept) <= most else kept[: most - 1] + "…"


def paragraph(style: ParagraphStyle, *pieces: object, most: int = MOST_CHARACTERS) -> Paragraph:
    """A paragraph of plain and `Bold` pieces, each cleaned and cut at `most` characters; words too long break."""
    return Paragraph("".join(_markup(each, most) for each in pieces), style)


def _markup(piece: object, most: int) -> str:
    before, after = (" " if _has_edge(piece, at) else "" for at in (0, -1))
    marked = before + "".join(_runs(clean(piece, most))) + after
    return f"<b>{marked}</b>" if isinstance(piece, Bold) else marked


def _has_edge(piece: object, at: int) -> bool:
    return str(piece)[at:][:1] == " "


def _runs(text: str) -> Iterator[str]:
    """Escaped text, the stretches that the page's face lacks set in the stand-in."""
    for lacking, letters in groupby(text, key=lambda each: ord(each) not in COVERS[REGULAR]):
        run = "".join(letters)
        yield f'<font name="{STAND_IN}">{escape(_known(run))}</font>' if lacking else escape(run)


def _known(run: str) -> str:
    return "".join(each if ord(each) in COVERS[STAND_IN] else UNKNOWN_LETTER for each in run)


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
