"""What every entry of the register shares: a time-ordered id, another program's reference, a version."""

import uuid

import uuid_utils.compat
from django.db import models


def new_id() -> uuid.UUID:
    """A UUIDv7 (RFC 9562): sorts by the time of its making, can be made without signal."""
    return uuid_utils.compat.uuid7()


class RegisterEntry(models.Model):
    """A mutable entry. `version` rises with each change; a change names the version it was based on."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    external_reference = models.CharField(max_length=100, null=True, blank=True, unique=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return str(getattr(self, "name", self.pk))


class Client(RegisterEntry):
    name = models.CharField(max_length=200)
    address = models.CharField(max_length=300, blank=True)
    contact = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["name", "id"]
