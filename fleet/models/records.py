"""The truth: canonical bytes, appended and never changed. Rows elsewhere are projected from them."""

import json
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db import models

from fleet.models.register import new_id


class Record(models.Model):
    """`content` is the canonical JSON, `sha256` its hash, `submitted_sha256` that of the message as it came.

    Triggers refuse UPDATE and DELETE in the database itself.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    kind = models.CharField(max_length=40)
    subject = models.UUIDField()
    content = models.BinaryField()
    sha256 = models.CharField(max_length=64)
    submitted_sha256 = models.CharField(max_length=64)
    amends = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="amended_by")
    actor = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    received_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "subject"], condition=models.Q(amends__isnull=True), name="one_first_record_a_subject"
            )
        ]
        indexes = [models.Index(fields=["subject", "id"])]


class UnreadableRecord(models.Model):
    """A message that could not be read, kept as it came until a person has corrected it or put it aside."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    body = models.BinaryField()
    body_sha256 = models.CharField(max_length=64)
    errors = models.JSONField()
    actor = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    received_at = models.DateTimeField()
    resolved_at = models.DateTimeField(null=True)
    resolved_by = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    resolved_how = models.CharField(max_length=300, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["actor", "body_sha256"],
                condition=models.Q(resolved_at__isnull=True),
                name="one_open_unreadable_body",
            )
        ]


@dataclass(frozen=True)
class Row:
    """One row that a record projects to: the same record always gives the same rows."""

    model: type[models.Model]
    id: uuid.UUID
    values: dict[str, Any]


# The shape in which records of a kind are written now; each names its own.
SCHEMAS = {
    kind: f"{kind}/1"
    for kind in (
        *("visit", "calibration", "qualification", "gas_conversion", "out_of_use"),
        *("sheet_version", "limit_set_version", "stop_levels"),
        *("building", "gas_supply", "appliance", "analyser", "assignment", "required_check"),
    )
}
# Schema -> how its content is read under the next one, which it then names. A record is never rewritten: when a word
# of a kind changes, its number above goes up and the step from the one before is added here, for good.
UPCASTERS: dict[str, Callable[[dict[str, Any]], dict[str, Any]]] = {}


def content_of(record: Record) -> dict[str, Any]:
    """The record's content, read from its bytes, in the words of today."""
    content = dict(json.loads(bytes(record.content)))
    while step := UPCASTERS.get(content["schema"]):
        content = step(content)
    return content


def part_id(subject: uuid.UUID, part: str, number: int) -> uuid.UUID:
    """The id of a numbered part of a record's subject: the same each time it is projected (RFC 9562 UUIDv5)."""
    return uuid.uuid5(subject, f"{part}/{number}")
