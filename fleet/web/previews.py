"""From what somebody typed to a recorded version: shown what would change first, and recorded only as it was shown."""

import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _

from fleet.assess.consequences import Consequence
from fleet.errors import Conflict, FleetError
from fleet.evidence import canonical_bytes, sha256_hex
from fleet.models import LimitSetVersion, SheetVersion
from fleet.models.register import new_id
from fleet.presentation.contents import Difference
from fleet.presentation.reading_rule import ReadingRule
from fleet.presentation.readings import verdict_rule
from fleet.queries.consequences import Preview

Version = SheetVersion | LimitSetVersion
MOST_SHOWN = 50


@dataclass(frozen=True)
class Shown:
    """A preview on its page. `digest` is of the content that was shown, `id` what it will be recorded under.

    note : why it is shown again instead of recorded. meanwhile : what the version that came in between changed.
    """

    preview: Preview
    digest: str
    id: uuid.UUID
    note: str = ""
    meanwhile: tuple[Difference, ...] = ()

    @property
    def rows(self) -> list[tuple[Consequence, ReadingRule | None]]:
        """Each appliance that changes, with the verdict that turns first drawn on the new figures."""
        return [(each, _rule(each)) for each in self.preview.changed[:MOST_SHOWN]]

    @property
    def not_shown(self) -> int:
        return max(0, len(self.preview.changed) - MOST_SHOWN)

    @property
    def may_record(self) -> bool:
        return bool(self.preview.differences)


def _rule(consequence: Consequence) -> ReadingRule | None:
    left = next((each.now for each in consequence.verdicts if each.is_left and each.now), None)
    return verdict_rule(left) if left else None


def digest_of(content: dict[str, Any]) -> str:
    return sha256_hex(canonical_bytes(content))


def was_shown(post: QueryDict, content: dict[str, Any]) -> bool:
    """Whether this very content was shown before it was sent to be recorded."""
    return post.get("shown") == digest_of(content)


def shown(preview: Preview, content: dict[str, Any], note: str = "", meanwhile: tuple[Difference, ...] = ()) -> Shown:
    return Shown(preview, digest_of(content), new_id(), note, meanwhile)


def number_based_on(post: QueryDict) -> int:
    """The version that the page was made from; a page that doesn't say is taken for one made from none."""
    given = post.get("based_on", "")
    return int(given) if given.isascii() and given.isdigit() and len(given) < 9 else 0


def id_given(post: QueryDict) -> uuid.UUID:
    """What it is to be recorded under, so that a second click records no second version."""
    try:
        return uuid.UUID(post.get("id", ""))
    except ValueError:
        return new_id()


def overtaken(
    newest: Version | None,
    versions: Mapping[int, dict[str, Any]],
    based_on: int,
    differences: Callable[[dict[str, Any], dict[str, Any]], list[Difference]],
) -> tuple[str, tuple[Difference, ...]]:
    """What came meanwhile, in words, and what it changed; empty where the page was made from the newest version."""
    if newest is None or newest.number == based_on:
        return "", ()
    said = _("Version %(number)d came meanwhile, from %(who)s. Nothing was recorded; what you typed is kept below.")
    changed = differences(versions.get(based_on, {}), newest.content)
    return said % {"number": newest.number, "who": newest.record.actor}, tuple(changed)


def not_as_shown() -> str:
    return _("What was sent is not what was shown. This is what would change now; record it if it is right.")


def is_overtaken(refused: FleetError) -> bool:
    return isinstance(refused, Conflict) and refused.code == "changed_meanwhile"
