"""SVG elements as safe strings: every text and attribute is escaped, and style or script can't be written."""

import re

from django.utils.html import conditional_escape, escape
from django.utils.safestring import SafeString, mark_safe

# Characters that XML 1.0 doesn't allow at all, not even escaped (XML 1.0, production 2).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_NAME = re.compile(r"[a-zA-Z][a-zA-Z0-9-]*")


def element(name: str, /, *inside: object, **attributes: object) -> SafeString:
    """`<name ...>inside</name>`; `class_` is class, `stroke_width` is stroke-width, None leaves one out.

    `inside` may be elements (kept) or any text (escaped). ValueError for script, style or a handler, which
    the pages' content security policy would refuse anyway."""
    written = "".join(_attribute(key, value) for key, value in attributes.items() if value is not None)
    content = "".join(_text(each) for each in inside)
    return mark_safe(f"<{_allowed(name)}{written}>{content}</{name}>")


def number(value: float) -> str:
    """A coordinate: at most two decimals, no trailing zeros."""
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")  # + 0.0 turns a rounded -0.0 into 0


def points(pairs: list[tuple[float, float]]) -> str:
    """Coordinates for a polyline or polygon."""
    return " ".join(f"{number(x)},{number(y)}" for x, y in pairs)


def _text(value: object) -> str:
    return _NOT_XML.sub("\ufffd", conditional_escape(str(value)))


def _attribute(key: str, value: object) -> str:
    """Escaped even where the value is marked as safe: safe as content isn't safe between quotes."""
    shown = _NOT_XML.sub("\ufffd", escape(number(value) if isinstance(value, float) else str(value)))
    return f' {_allowed(key.rstrip("_").replace("_", "-"))}="{shown}"'


def _allowed(name: str) -> str:
    if not _NAME.fullmatch(name) or name.lower() in ("script", "style") or name.lower().startswith("on"):
        raise ValueError(f"{name!r} isn't written into a drawing")
    return name
