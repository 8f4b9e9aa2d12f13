"""Photos and documents of a visit, or of an attempt at one: a row each time a file is attached; the bytes lie beside
the database."""

from pathlib import Path

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fleet.evidence import sha256_hex
from fleet.models.register import new_id


class StoredFile(models.Model):
    """Of a visit or of an attempt. `sha256` and `size_bytes` are of the bytes as stored.

    The same content lies on disk once, whoever attached it.
    """

    class MediaType(models.TextChoices):
        JPEG = "image/jpeg", "JPEG"
        PNG = "image/png", "PNG"
        PDF = "application/pdf", "PDF"

    class What(models.TextChoices):
        DATA_PLATE = "data_plate", _("plate")
        DEFECT = "defect", _("defect")
        PRINT_OUT = "analyser_print_out", _("analyser print-out")
        LETTER = "letter", _("letter")
        PROOF = "proof_of_delivery", _("proof of delivery")
        OTHER = "other", _("other")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    visit = models.ForeignKey("fleet.Visit", null=True, on_delete=models.PROTECT, related_name="files")
    no_access = models.ForeignKey("fleet.NoAccess", null=True, on_delete=models.PROTECT, related_name="files")
    what = models.CharField(max_length=20, choices=What.choices)
    name = models.CharField(max_length=120)
    media_type = models.CharField(max_length=20, choices=MediaType.choices)
    size_bytes = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    uploaded_by = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    uploaded_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "what", "sha256"], name="same_file_once_a_visit_and_what"),
            models.UniqueConstraint(fields=["no_access", "what", "sha256"], name="same_file_once_an_attempt_and_what"),
            models.CheckConstraint(
                condition=Q(visit__isnull=False, no_access__isnull=True)
                | Q(visit__isnull=True, no_access__isnull=False),
                name="file_is_of_one_thing",
            ),
        ]

    @property
    def path(self) -> Path:
        """Where the bytes lie: named by their hash, so no name from outside ever becomes a path."""
        return Path(settings.MEDIA_ROOT) / self.sha256[:2] / self.sha256

    def read_bytes(self) -> bytes:
        """As stored. Raises OSError where they are gone, ValueError where they aren't those that were stored."""
        data = self.path.read_bytes()
        if sha256_hex(data) != self.sha256:
            raise ValueError(f"the bytes of file {self.id} don't match its hash")
        return data
