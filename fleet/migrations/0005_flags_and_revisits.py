from typing import ClassVar

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import fleet.models.contractor
import fleet.models.register


class Migration(migrations.Migration):
    dependencies: ClassVar = [
        ("fleet", "0004_duties"),
    ]

    operations: ClassVar = [
        migrations.CreateModel(
            name="Delivery",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("external_reference", models.CharField(blank=True, max_length=100, null=True, unique=True)),
                ("version", models.PositiveIntegerField(default=1)),
                ("recipient", models.CharField(max_length=100)),
                ("due", models.DateField()),
                ("words", models.CharField(max_length=300)),
                ("opened_at", models.DateTimeField()),
                ("sent_at", models.DateTimeField(null=True)),
                ("returned_why", models.CharField(blank=True, max_length=500)),
            ],
            options={
                "verbose_name_plural": "deliveries",
                "ordering": ["due", "id"],
            },
        ),
        migrations.CreateModel(
            name="NoAccess",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("at", models.DateTimeField()),
                ("local_date", models.DateField()),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("nobody in", "nobody in"),
                            ("refused", "refused"),
                            ("no key", "no key"),
                            ("gas or power off", "gas or power off"),
                            ("unsafe to enter", "unsafe to enter"),
                        ],
                        max_length=20,
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=500)),
                ("letter", models.CharField(blank=True, max_length=200)),
                ("recorded_at", models.DateTimeField()),
            ],
            options={
                "verbose_name_plural": "no access",
                "ordering": ["-at", "id"],
            },
        ),
        migrations.CreateModel(
            name="OccupierNotice",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("day", models.DateField()),
                ("kind", models.CharField(choices=[("told", "told"), ("agreed", "agreed")], max_length=10)),
                ("given_on", models.DateField()),
                ("how", models.CharField(max_length=200)),
                ("notice_days", models.PositiveSmallIntegerField(default=0)),
                ("recorded_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["-recorded_at", "id"],
            },
        ),
        migrations.CreateModel(
            name="Retest",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("external_reference", models.CharField(blank=True, max_length=100, null=True, unique=True)),
                ("version", models.PositiveIntegerField(default=1)),
                ("event", models.CharField(max_length=20)),
                ("found_on", models.DateField()),
                ("due", models.DateField()),
                ("words", models.CharField(max_length=500)),
            ],
            options={
                "ordering": ["due", "id"],
            },
        ),
        migrations.CreateModel(
            name="Sending",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("sent_at", models.DateTimeField()),
                (
                    "how",
                    models.CharField(
                        choices=[
                            ("e-mail", "by e-mail"),
                            ("post", "by post"),
                            ("by hand", "by hand"),
                            ("portal", "through a portal"),
                        ],
                        max_length=20,
                    ),
                ),
                ("address", models.CharField(max_length=300)),
                ("proof", models.CharField(blank=True, max_length=500)),
                ("failed_at", models.DateTimeField(null=True)),
                ("failed_why", models.CharField(blank=True, max_length=500)),
            ],
            options={
                "ordering": ["sent_at", "id"],
            },
        ),
        migrations.AlterModelOptions(
            name="defect",
            options={"ordering": ["due", "mend_by", "id"]},
        ),
        migrations.AddField(
            model_name="contractor",
            name="accepted_chance_co",
            field=models.FloatField(default=0.02),
        ),
        migrations.AddField(
            model_name="contractor",
            name="accepted_chance_rise",
            field=models.FloatField(default=0.15),
        ),
        migrations.AddField(
            model_name="contractor",
            name="mend_within_days",
            field=models.JSONField(blank=True, default=fleet.models.contractor.first_mend_within_days),
        ),
        migrations.AddField(
            model_name="defect",
            name="due",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="defect",
            name="due_words",
            field=models.CharField(blank=True, default="", max_length=300),
        ),
        migrations.AddField(
            model_name="defect",
            name="settled_at",
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name="defect",
            name="settled_by",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
            ),
        ),
        migrations.AddField(
            model_name="defect",
            name="settled_why",
            field=models.CharField(blank=True, default="", max_length=500),
        ),
        migrations.AddField(
            model_name="defect",
            name="version",
            field=models.PositiveIntegerField(default=1),
        ),
        migrations.AddField(
            model_name="flag",
            name="closed_figures",
            field=models.JSONField(default=dict),
        ),
        migrations.AddField(
            model_name="revisit",
            name="accepted_risk",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="revisit",
            name="accepted_until",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="revisit",
            name="day",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="revisit",
            name="drift_by",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="revisit",
            name="extra",
            field=models.CharField(
                blank=True,
                choices=[
                    ("", "no extra visit"),
                    ("within", "within the extra visits"),
                    ("beyond", "beyond the extra visits"),
                ],
                default="",
                max_length=10,
            ),
        ),
        migrations.AddField(
            model_name="revisit",
            name="extra_week",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="revisit",
            name="no_access",
            field=models.PositiveSmallIntegerField(default=0),
        ),
        migrations.AddField(
            model_name="revisit",
            name="note",
            field=models.CharField(blank=True, default="", max_length=500),
        ),
        migrations.AddField(
            model_name="revisit",
            name="otherwise_by",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="revisit",
            name="set_at",
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name="revisit",
            name="set_by",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
            ),
        ),
        migrations.AddField(
            model_name="revisit",
            name="state",
            field=models.CharField(
                choices=[("proposed", "proposed"), ("pinned", "pinned"), ("confirmed", "confirmed")],
                default="proposed",
                max_length=10,
            ),
        ),
        migrations.AddField(
            model_name="revisit",
            name="urgency",
            field=models.FloatField(default=0),
        ),
        migrations.AddField(
            model_name="revisit",
            name="urgency_words",
            field=models.CharField(blank=True, default="", max_length=300),
        ),
        migrations.AlterField(
            model_name="storedfile",
            name="visit",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="files", to="fleet.visit"
            ),
        ),
        migrations.AlterField(
            model_name="storedfile",
            name="what",
            field=models.CharField(
                choices=[
                    ("plate", "plate"),
                    ("defect", "defect"),
                    ("analyser print-out", "analyser print-out"),
                    ("letter", "letter"),
                    ("proof of delivery", "proof of delivery"),
                    ("other", "other"),
                ],
                max_length=20,
            ),
        ),
        migrations.AddIndex(
            model_name="defect",
            index=models.Index(fields=["due"], name="fleet_defec_due_dc3633_idx"),
        ),
        migrations.AddIndex(
            model_name="revisit",
            index=models.Index(fields=["drift_by"], name="fleet_revis_drift_b_68d575_idx"),
        ),
        migrations.AddConstraint(
            model_name="contractor",
            constraint=models.CheckConstraint(
                condition=models.Q(("accepted_chance_co__gt", 0), ("accepted_chance_co__lt", 1)),
                name="accepted_chance_co_is_a_chance",
            ),
        ),
        migrations.AddConstraint(
            model_name="contractor",
            constraint=models.CheckConstraint(
                condition=models.Q(("accepted_chance_rise__gt", 0), ("accepted_chance_rise__lt", 1)),
                name="accepted_chance_rise_is_a_chance",
            ),
        ),
        migrations.AddConstraint(
            model_name="revisit",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("day__isnull", True), ("state", "proposed")),
                    models.Q(("day__isnull", False), ("state__in", ["pinned", "confirmed"])),
                    _connector="OR",
                ),
                name="revisit_is_set_for_a_day",
            ),
        ),
        migrations.AddField(
            model_name="delivery",
            name="limit_set",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="deliveries", to="fleet.limitset"
            ),
        ),
        migrations.AddField(
            model_name="delivery",
            name="visit",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="deliveries", to="fleet.visit"
            ),
        ),
        migrations.AddField(
            model_name="noaccess",
            name="appliance",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="no_access", to="fleet.appliance"
            ),
        ),
        migrations.AddField(
            model_name="noaccess",
            name="by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
            ),
        ),
        migrations.AddField(
            model_name="storedfile",
            name="no_access",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="files", to="fleet.noaccess"
            ),
        ),
        migrations.AddConstraint(
            model_name="storedfile",
            constraint=models.UniqueConstraint(
                fields=("no_access", "what", "sha256"), name="same_file_once_an_attempt_and_what"
            ),
        ),
        migrations.AddConstraint(
            model_name="storedfile",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("no_access__isnull", True), ("visit__isnull", False)),
                    models.Q(("no_access__isnull", False), ("visit__isnull", True)),
                    _connector="OR",
                ),
                name="file_is_of_one_thing",
            ),
        ),
        migrations.AddField(
            model_name="occupiernotice",
            name="appliance",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="occupier_notices", to="fleet.appliance"
            ),
        ),
        migrations.AddField(
            model_name="occupiernotice",
            name="by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
            ),
        ),
        migrations.AddField(
            model_name="retest",
            name="appliance",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="retests", to="fleet.appliance"
            ),
        ),
        migrations.AddField(
            model_name="retest",
            name="done_by",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="ends_retests", to="fleet.visit"
            ),
        ),
        migrations.AddField(
            model_name="retest",
            name="limit_set",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="retests", to="fleet.limitset"
            ),
        ),
        migrations.AddField(
            model_name="retest",
            name="visit",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="retests", to="fleet.visit"
            ),
        ),
        migrations.AddField(
            model_name="sending",
            name="delivery",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="sendings", to="fleet.delivery"
            ),
        ),
        migrations.AddField(
            model_name="sending",
            name="failed_by",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
            ),
        ),
        migrations.AddField(
            model_name="sending",
            name="file",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="fleet.storedfile"
            ),
        ),
        migrations.AddField(
            model_name="sending",
            name="record",
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="fleet.record"),
        ),
        migrations.AddField(
            model_name="sending",
            name="sent_by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
            ),
        ),
        migrations.AddIndex(
            model_name="delivery",
            index=models.Index(fields=["sent_at", "due"], name="fleet_deliv_sent_at_c7f53e_idx"),
        ),
        migrations.AddConstraint(
            model_name="delivery",
            constraint=models.UniqueConstraint(
                fields=("visit", "limit_set", "recipient"), name="one_delivery_a_recipient"
            ),
        ),
        migrations.AddConstraint(
            model_name="noaccess",
            constraint=models.UniqueConstraint(fields=("appliance", "at"), name="one_attempt_a_moment"),
        ),
        migrations.AddConstraint(
            model_name="retest",
            constraint=models.UniqueConstraint(fields=("visit", "limit_set"), name="one_retest_a_visit_and_set"),
        ),
        migrations.AddConstraint(
            model_name="sending",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("failed_at__isnull", True), ("failed_at__gte", models.F("sent_at")), _connector="OR"
                ),
                name="sending_fails_after_it_went",
            ),
        ),
    ]
