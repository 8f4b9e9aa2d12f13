"""What a preview answers: what a draft says differently, and for which appliances what would change."""

import uuid
from collections.abc import Callable
from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, RecordedDoor, version_named
from api.errors import BadQuery
from api.fields import Said
from api.filters import parameter
from fleet.assess.judging.comparing import VerdictChange
from fleet.coded import wrong
from fleet.errors import NotFound
from fleet.presentation.consequences import (
    applying_words,
    consequence_sentences,
    due_change_words,
    verdict_change_parts,
    verdict_change_words,
)
from fleet.presentation.due_dates import date_words


class DifferenceOut(serializers.Serializer[Any]):
    path = serializers.CharField(help_text="In words: which target, which limit, what of it.")
    before = serializers.CharField(help_text="Empty where it says nothing of this.")
    after = serializers.CharField()
    milder = serializers.CharField(help_text="What it loosens, ends or turns the other way; empty for nothing of that.")


class DifferencesOut(serializers.Serializer[Any]):
    before = serializers.IntegerField(help_text="The version that is compared from.")
    after = serializers.IntegerField()
    differences = DifferenceOut(many=True)


class VerdictChangeOut(serializers.Serializer[Any]):
    source = serializers.CharField(help_text="The sheet or set that the limit stands in.")
    label = serializers.CharField()
    value = serializers.CharField()
    at = serializers.CharField(help_text="Rate and phase.")
    before = serializers.CharField(help_text="The outcome; empty where the reading was not held against this limit.")
    after = serializers.CharField()
    limit_before = serializers.CharField()
    limit_after = serializers.CharField()
    sentence = serializers.CharField()

    def to_representation(self, change: VerdictChange) -> dict[str, Any]:
        said = verdict_change_parts(change) | {"sentence": verdict_change_words(change)}
        return dict(super().to_representation(said))


class DueChangeOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    before = serializers.DateField(allow_null=True)
    after = serializers.DateField(allow_null=True)
    words = Said(date_words, of="steps", help_text="The arithmetic by the draft.")
    sentence = Said(due_change_words)


def _applying(limits: Any) -> list[str]:
    return [applying_words(each) for each in limits]


class ConsequenceOut(serializers.Serializer[Any]):
    appliance = serializers.UUIDField(source="appliance.id")
    name = serializers.CharField(source="appliance.name")
    building = serializers.CharField(source="appliance.building.name")
    visit = serializers.UUIDField(source="visit.id", default=None, allow_null=True, help_text="The one judged again.")
    outcome_before = serializers.CharField(help_text="By today's versions, as if read today.")
    outcome_after = serializers.CharField()
    verdicts = VerdictChangeOut(many=True)
    newly = Said(_applying, "newly", help_text="Limits that begin to apply.")
    no_longer = Said(_applying, "no_longer", help_text="Limits that cease to apply.")
    dues = DueChangeOut(many=True)
    sentences = Said(consequence_sentences)


class PreviewOut(serializers.Serializer[Any]):
    based_on = serializers.IntegerField(help_text="Today's version, 0 for none: name it in If-Match when recording.")
    number = serializers.IntegerField(help_text="What it would be recorded as.")
    day = serializers.DateField()
    summary = serializers.CharField()
    differences = DifferenceOut(many=True)
    changed = ConsequenceOut(many=True)
    moved = serializers.IntegerField(
        help_text="As many more keep verdicts and days, under other figures, grades or adjusters."
    )
    same = serializers.IntegerField(help_text="For as many more nothing changes.")
    unread = serializers.IntegerField(help_text="Of all these no visit has readings.")
    unseen = serializers.IntegerField(help_text="As many more change, of clients that you may not see.")


class VersionsDoor(RecordedDoor):
    """Versions of a sheet or a limit set; one that was previewed names the version that it was previewed on."""

    parts = "versions"

    def post(self, request: Request, **path: Any) -> Response:
        """Record one: 201; the same id with the same content again 200; with other content 409. With If-Match only on
        top of the version of that number (412 where another came meanwhile)."""
        self.based_on = version_named(request) if "If-Match" in request.headers else None
        return super().post(request, **path)


class CompareDoor(Door):
    """What two versions of an entry say differently, by `differences` of their contents."""

    subject, shape_out = "comparisons", DifferencesOut
    filters = (
        parameter("from", "The number of the version to compare from."),
        parameter("to", "The number of the version to compare with."),
    )
    differences: ClassVar[Callable[[dict[str, Any], dict[str, Any]], Any]]
    word: ClassVar[str]

    def get(self, request: Request, id: uuid.UUID) -> Response:
        before, after = _numbers_compared(request)
        versions = {each.number: each.content for each in self.one().versions.all()}
        if missing := [number for number in (before, after) if number not in versions]:
            raise NotFound(
                "not_found",
                "The %(what)s has no version %(number)s.",
                figures={"what": self.word, "number": missing[0]},
            )
        differences = type(self).differences(versions[before], versions[after])
        return self.shown({"before": before, "after": after, "differences": differences})


def _numbers_compared(request: Request) -> tuple[int, int]:
    """The two numbers that the query must give. Raises BadQuery."""
    given = {name: request.query_params.get(name, "") for name in ("from", "to")}
    numbers = [name for name, text in given.items() if text.isascii() and text.isdigit() and len(text) < 10]
    if errors := {name: wrong("version_number", text) for name, text in given.items() if name not in numbers}:
        raise BadQuery(**errors)
    return int(given["from"]), int(given["to"])
