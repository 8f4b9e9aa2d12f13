from typing import ClassVar

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("fleet", "0003_forecasts_checked")]

    operations: ClassVar = [
        migrations.CreateModel(
            name="VisitCheck",
            fields=[
                (
                    "visit",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="check_made",
                        serialize=False,
                        to="fleet.visit",
                    ),
                ),
                ("local_date", models.DateField()),
                ("counts", models.BooleanField()),
                ("why_not", models.CharField(blank=True, max_length=300)),
                ("answered", models.JSONField(default=list)),
                ("conditions", models.JSONField(default=list)),
                ("used", models.JSONField(default=dict)),
                ("run_hours_h", models.FloatField(null=True)),
                ("made_with", models.PositiveSmallIntegerField()),
                (
                    "appliance",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="checks_made",
                        to="fleet.appliance",
                    ),
                ),
            ],
            options={"ordering": ["local_date", "visit_id"]},
        ),
        migrations.AddIndex(
            model_name="visitcheck",
            index=models.Index(fields=["appliance", "local_date", "visit"], name="checks_of_an_appliance"),
        ),
        migrations.CreateModel(
            name="OutOfUse",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("begins", models.DateField()),
                ("ends", models.DateField(null=True)),
                ("why", models.CharField(max_length=300)),
                ("said_by", models.CharField(max_length=200)),
                ("proof", models.CharField(blank=True, max_length=300)),
                ("restart_said_by", models.CharField(blank=True, max_length=200)),
                ("restart_proof", models.CharField(blank=True, max_length=300)),
                (
                    "appliance",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="out_of_use",
                        to="fleet.appliance",
                    ),
                ),
                (
                    "record",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="fleet.record"
                    ),
                ),
            ],
            options={"verbose_name_plural": "out of use", "ordering": ["begins", "id"]},
        ),
        migrations.AddConstraint(
            model_name="outofuse",
            constraint=models.UniqueConstraint(
                condition=models.Q(("ends__isnull", True)), fields=("appliance",), name="out_of_use_once_at_a_time"
            ),
        ),
        migrations.AddConstraint(
            model_name="outofuse",
            constraint=models.CheckConstraint(
                condition=models.Q(("ends__isnull", True), ("ends__gte", models.F("begins")), _connector="OR"),
                name="restart_not_before_it_stood_still",
            ),
        ),
        migrations.CreateModel(
            name="GasConversion",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("converted_on", models.DateField()),
                ("from_fuel", models.CharField(max_length=40)),
                ("to_fuel", models.CharField(max_length=40)),
                ("kit", models.CharField(max_length=200)),
                ("label", models.CharField(max_length=200)),
                ("analyser_fuel", models.CharField(max_length=40)),
                ("done_by", models.CharField(max_length=200)),
                ("test_within_days", models.PositiveSmallIntegerField()),
                (
                    "appliance",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="gas_conversions",
                        to="fleet.appliance",
                    ),
                ),
                (
                    "record",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="fleet.record"
                    ),
                ),
                (
                    "sheet",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="fleet.modelsheet",
                    ),
                ),
            ],
            options={"ordering": ["converted_on", "id"]},
        ),
        migrations.AddField(
            model_name="appliance",
            name="replaces",
            field=models.OneToOneField(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="replaced_by",
                to="fleet.appliance",
            ),
        ),
        migrations.AddField(
            model_name="duty", name="regime", field=models.CharField(blank=True, default="", max_length=40),
            preserve_default=False,
        ),
        migrations.AddField(model_name="duty", name="rule_since", field=models.DateField(blank=True, null=True)),
        migrations.AddField(model_name="duty", name="visited_on", field=models.DateField(blank=True, null=True)),
        migrations.AddField(
            model_name="duty", name="not_discharged", field=models.CharField(blank=True, default="", max_length=1000),
            preserve_default=False,
        ),
        migrations.AddField(model_name="duty", name="lacks", field=models.JSONField(blank=True, default=list)),
        migrations.AddField(model_name="duty", name="suspended_since", field=models.DateField(blank=True, null=True)),
        migrations.AddField(
            model_name="duty", name="ended_why", field=models.CharField(blank=True, default="", max_length=300),
            preserve_default=False,
        ),
        migrations.RemoveConstraint(model_name="duty", name="duty_source_known"),
        migrations.AddConstraint(
            model_name="duty",
            constraint=models.CheckConstraint(
                condition=models.Q(("source__in", ["limit set", "contract", "maker", "conversion"])),
                name="duty_source_known",
            ),
        ),
        migrations.AddField(model_name="visit", name="run_hours_h", field=models.FloatField(null=True)),
        migrations.AddField(model_name="visit", name="declared", field=models.JSONField(default=dict)),
    ]
