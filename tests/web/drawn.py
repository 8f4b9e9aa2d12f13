"""Reading a drawing back: its texts and the boxes they take up."""

from dataclasses import dataclass
from xml.etree import ElementTree

from fleet.presentation.strips import Head, Strip, Upright, Words

# Advance widths of the font's tabular figures and of its widest small letters but m and w [em]; a little generous.
FIGURE_EM, LETTER_EM, POINT_EM = 0.632, 0.58, 0.28
ASCENT_EM, DESCENT_EM = 0.72, 0.2


@dataclass(frozen=True)
class Box:
    left: float
    right: float
    top: float
    bottom: float

    def meets(self, other: "Box") -> bool:
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom


def texts(svg: str) -> list[str]:
    """Every text drawn, the title left out."""
    return ["".join(each.itertext()) for each in ElementTree.fromstring(svg).iter("text")]


def title(svg: str) -> str:
    return ElementTree.fromstring(svg).findtext("title") or ""


def kinds(svg: str) -> list[str]:
    return [each.get("class", "") for each in ElementTree.fromstring(svg).iter()]


def word_boxes(strip: Strip, width_em: float, *, has_words: bool) -> list[Box]:
    return [_word_box(mark, width_em, has_words) for mark in strip.marks if isinstance(mark, Words)]


def pin_boxes(strip: Strip, width_em: float) -> list[Box]:
    heads = [mark for mark in strip.marks if isinstance(mark, Head) and mark.kind in ("found", "left")]
    stems = [mark for mark in strip.marks if isinstance(mark, Upright) and mark.kind == "stem"]
    return [
        *(
            _around(head.at_pct, head.radius_em, head.y_em - head.radius_em, head.y_em + head.radius_em, width_em)
            for head in heads
        ),
        *(_around(stem.at_pct, 0.07, stem.top_em, stem.bottom_em, width_em) for stem in stems),
    ]


def _around(at_pct: float, half: float, top: float, bottom: float, width_em: float) -> Box:
    at = at_pct / 100 * width_em
    return Box(at - half, at + half, top, bottom)


def _word_box(words: Words, width_em: float, has_words: bool) -> Box:
    shown = f"{words.figure} {words.word}" if has_words and words.word else words.figure
    long = sum(POINT_EM if c in ".,: " else FIGURE_EM if c.isdigit() else LETTER_EM for c in shown)
    near = words.at_pct / 100 * width_em + words.side * words.dx_em
    left, right = sorted((near, near + words.side * long))
    return Box(left, right, words.y_em - ASCENT_EM, words.y_em + DESCENT_EM)
