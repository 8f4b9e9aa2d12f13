from typing import ClassVar

import django.db.models.deletion
import fleet.models.register
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("fleet", "0006_jobs")]

    operations: ClassVar = [
        migrations.CreateModel(
            name="Telling",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                (
                    "flag",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="tellings", to="fleet.flag"
                    ),
                ),
                ("told_from", models.DateTimeField()),
                ("round", models.PositiveSmallIntegerField()),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                ("way", models.CharField(choices=[("e-mail", "e-mail")], default="e-mail", max_length=10)),
                ("due_at", models.DateTimeField()),
                ("sent_at", models.DateTimeField(null=True)),
                ("not_needed", models.CharField(blank=True, max_length=200)),
                ("tries", models.PositiveSmallIntegerField(default=0)),
                ("failure", models.CharField(blank=True, max_length=500)),
            ],
            options={
                "ordering": ["due_at", "id"],
                "indexes": [models.Index(fields=["flag", "sent_at"], name="fleet_telli_flag_id_377e1f_idx")],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("flag", "told_from", "round", "user", "way"), name="one_telling_a_round"
                    ),
                    models.CheckConstraint(condition=models.Q(("way__in", ["e-mail"])), name="telling_way_is_known"),
                ],
            },
        ),
        migrations.CreateModel(
            name="OnCall",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("external_reference", models.CharField(blank=True, max_length=100, null=True, unique=True)),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "user",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="on_call", to=settings.AUTH_USER_MODEL
                    ),
                ),
                ("after_minutes", models.PositiveSmallIntegerField(default=0)),
            ],
            options={
                "ordering": ["after_minutes", "id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("after_minutes__lte", 240)), name="on_call_within_four_hours"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="NoticeChoice",
            fields=[
                (
                    "user",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="notice_choice",
                        serialize=False,
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("digest", models.BooleanField(default=True)),
                ("hour", models.PositiveSmallIntegerField(default=7)),
                ("time_zone", models.CharField(blank=True, max_length=64)),
                ("told", models.JSONField(blank=True, default=list)),
                ("digest_sent_at", models.DateTimeField(null=True)),
                ("version", models.PositiveIntegerField(default=1)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("hour__lte", 23)), name="digest_hour_is_an_hour")
                ],
            },
        ),
        migrations.CreateModel(
            name="AllowedTarget",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("host", models.CharField(max_length=253, unique=True)),
                ("why", models.CharField(max_length=300)),
                (
                    "allowed_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                ("allowed_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["host"],
            },
        ),
        migrations.CreateModel(
            name="WebHook",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("external_reference", models.CharField(blank=True, max_length=100, null=True, unique=True)),
                ("version", models.PositiveIntegerField(default=1)),
                ("name", models.CharField(max_length=100)),
                ("url", models.CharField(max_length=500)),
                (
                    "client",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="fleet.client",
                    ),
                ),
                ("kinds", models.JSONField(default=list)),
                ("is_on", models.BooleanField(default=False)),
                ("secret_number", models.PositiveIntegerField(default=1)),
                ("on_since", models.DateTimeField(blank=True, null=True)),
                ("read_until", models.DateTimeField(blank=True, null=True)),
                ("failing_since", models.DateTimeField(blank=True, null=True)),
                ("switched_off_why", models.CharField(blank=True, max_length=300)),
                ("removed_at", models.DateTimeField(blank=True, null=True)),
                (
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                ("made_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["name", "id"],
            },
        ),
        migrations.CreateModel(
            name="HookDelivery",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                (
                    "hook",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="deliveries", to="fleet.webhook"
                    ),
                ),
                ("kind", models.CharField(max_length=30)),
                ("event", models.CharField(max_length=120)),
                ("body", models.TextField()),
                ("made_at", models.DateTimeField()),
                ("tried_at", models.DateTimeField(null=True)),
                ("sent_at", models.DateTimeField(null=True)),
                ("tries", models.PositiveSmallIntegerField(default=0)),
                ("status", models.PositiveSmallIntegerField(null=True)),
                ("took_ms", models.PositiveIntegerField(null=True)),
                ("answer_bytes", models.PositiveIntegerField(null=True)),
                ("failure", models.CharField(blank=True, max_length=300)),
                ("given_up", models.BooleanField(default=False)),
            ],
            options={
                "verbose_name_plural": "hook deliveries",
                "ordering": ["id"],
                "indexes": [
                    models.Index(
                        condition=models.Q(("given_up", False), ("sent_at__isnull", True)),
                        fields=["hook", "id"],
                        name="unsent_hook_deliveries",
                    )
                ],
                "constraints": [models.UniqueConstraint(fields=("hook", "event"), name="one_delivery_an_event")],
            },
        ),
    ]
