from typing import ClassVar

import django.db.models.deletion
import fleet.models.register
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("fleet", "0007_notices")]

    operations: ClassVar = [
        migrations.CreateModel(
            name="CalendarAddress",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="calendar_addresses",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "client",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="calendar_addresses",
                        to="fleet.client",
                    ),
                ),
                ("secret_sha256", models.CharField(max_length=64, unique=True)),
                (
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                ("made_at", models.DateTimeField()),
                ("revoked_at", models.DateTimeField(blank=True, null=True)),
                (
                    "revoked_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1)),
            ],
            options={
                "verbose_name_plural": "calendar addresses",
                "ordering": ["id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("client__isnull", True), ("user__isnull", False)),
                            models.Q(("client__isnull", False), ("user__isnull", True)),
                            _connector="OR",
                        ),
                        name="calendar_of_a_person_or_a_client",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="CalendarEntry",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                (
                    "address",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="entries", to="fleet.calendaraddress"
                    ),
                ),
                ("uid", models.CharField(max_length=100)),
                ("sequence", models.PositiveIntegerField(default=0)),
                ("content", models.JSONField()),
                ("changed_at", models.DateTimeField()),
                ("cancelled_at", models.DateTimeField(null=True)),
            ],
            options={
                "verbose_name_plural": "calendar entries",
                "ordering": ["uid"],
                "constraints": [models.UniqueConstraint(fields=("address", "uid"), name="one_calendar_entry_a_uid")],
            },
        ),
    ]
