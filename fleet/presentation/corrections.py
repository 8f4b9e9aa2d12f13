"""What a correction says otherwise, what it takes back, and on whose word it is in force."""

from collections.abc import Iterator, Mapping
from typing import Any

from django.utils.translation import gettext as _

from fleet.evidence import canonical_bytes, sha256_hex
from fleet.intake.fields import Shape, Word, fields_of, kind_of, shape_within
from fleet.models import Correction, Record
from fleet.models.records import content_of
from fleet.presentation.codes import code_words, field_words
from fleet.presentation.contents import Difference
from fleet.presentation.sentences import sentences
from fleet.presentation.words import listed

_TAKES_BACK = sentences("takes_back")
# Not what somebody said of the visit: how it is kept, and what our own columns make of a value.
NOT_SAID = ("schema", "site", "amendment", "figure")


def takes_back_words(correction: Correction) -> str:
    return listed([str(_TAKES_BACK[code]) for code in correction.takes_back])


def waiting_words(correction: Correction) -> str:
    """One sentence for lists, the API and paper."""
    said = {"who": correction.made_by, "what": takes_back_words(correction), "why": correction.reason}
    if correction.ended == Correction.Ended.REFUSED:
        return _("Refused: %(who)s wanted to take back %(what)s (%(why)s).") % said
    if correction.ended == Correction.Ended.CONFIRMED:
        return _("Confirmed: %(who)s took back %(what)s (%(why)s).") % said
    return _("A correction waits: %(who)s wants to take back %(what)s (%(why)s). Until somebody else confirms it, the visit stands as it was.") % said  # fmt: skip  # noqa: E501


def why_corrected(record: Record) -> str:
    """The reason that a correction gives and what it rests on; empty for a first record."""
    said = content_of(record).get("amendment", {}) if record.amends_id else {}
    if "correction" in said:
        return _("%(why)s (made by somebody else, confirmed by %(who)s)") % {"why": said["reason"], "who": record.actor}
    if "shown_by" in said:
        return str(_("%s (by a file that came with the visit)") % said["reason"])
    return str(said.get("reason", ""))


def changed_fields(before: Mapping[str, Any], after: Mapping[str, Any], shape: type[Shape]) -> list[Difference]:
    """Field, was, is: all that the later content says otherwise, by paths in words."""
    was, now = dict(_leaves("", before, shape)), dict(_leaves("", after, shape))
    return [
        Difference(field_words(path, shape), was.get(path, ""), now.get(path, ""))
        for path in dict.fromkeys([*was, *now])
        if was.get(path) != now.get(path)
    ]


def _leaves(path: str, said: Any, shape: type[Shape] | None, *, is_code: bool = False) -> Iterator[tuple[str, str]]:
    if isinstance(said, Mapping) and "value" in said:
        parts = (said.get("qualifier", "="), said["value"], said.get("unit", ""))
        yield (
            path,
            " ".join(code_words(str(each)) if n == 0 else str(each) for n, each in enumerate(parts) if each != "="),
        )
    elif isinstance(said, Mapping) and "at_s" in said:
        # What an analyser logged, as one thing: its fingerprint tells one from another.
        shown = {"count": len(said["at_s"]), "hash": sha256_hex(canonical_bytes(dict(said)))[:8]}
        yield path, _("%(count)d moments logged (%(hash)s)") % shown
    elif isinstance(said, Mapping):
        for name, each in said.items():
            info = fields_of(shape).get(name) if shape else None
            within = shape_within(info) if info else None
            coded = isinstance(kind_of(info) if info else None, Word)
            if name not in NOT_SAID:
                yield from _leaves(f"{path}.{name}" if path else name, each, within, is_code=coded)
    elif isinstance(said, list):
        for n, each in enumerate(said):
            yield from _leaves(f"{path}.{n}", each, shape, is_code=is_code)
    elif isinstance(said, bool):
        yield path, _("yes") if said else _("no")
    elif said not in (None, ""):
        yield path, code_words(said) if is_code else str(said)
