import django.db.models.deletion
from django.db import migrations, models
from django.db.models import Q

import fleet.models.register


class Migration(migrations.Migration):
    dependencies = [("fleet", "0010_revisit_technician")]
    operations = [
        migrations.AddField("duty", "part", models.CharField(blank=True, default="", max_length=80)),
        migrations.RemoveConstraint("duty", "one_duty_an_attachment"),
        migrations.AddConstraint(
            "duty",
            models.UniqueConstraint(
                fields=["appliance", "attachment", "part"],
                condition=Q(until__isnull=True),
                name="one_duty_an_attachment_and_part",
            ),
        ),
        migrations.CreateModel(
            name="Tenancy",
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
                    "building",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="tenancies", to="fleet.building"
                    ),
                ),
                (
                    "appliance",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tenancies",
                        to="fleet.appliance",
                    ),
                ),
                ("begins", models.DateField()),
                ("source", models.CharField(max_length=300)),
                ("called_off", models.CharField(blank=True, max_length=300)),
            ],
            options={"verbose_name_plural": "tenancies", "ordering": ["begins", "id"]},
        ),
        migrations.AddConstraint(
            "tenancy",
            models.UniqueConstraint(
                fields=["building", "begins"],
                condition=Q(appliance__isnull=True),
                name="one_tenancy_a_building_and_day",
            ),
        ),
        migrations.AddConstraint(
            "tenancy",
            models.UniqueConstraint(
                fields=["appliance", "begins"],
                condition=Q(appliance__isnull=False),
                name="one_tenancy_an_appliance_and_day",
            ),
        ),
        migrations.AddField(
            "delivery",
            "tenancy",
            models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="deliveries", to="fleet.tenancy"
            ),
        ),
        migrations.RemoveConstraint("delivery", "one_delivery_a_recipient"),
        migrations.AddConstraint(
            "delivery",
            models.UniqueConstraint(
                fields=["visit", "limit_set", "recipient"],
                condition=Q(tenancy__isnull=True),
                name="one_delivery_a_visit_and_recipient",
            ),
        ),
        migrations.AddConstraint(
            "delivery",
            models.UniqueConstraint(
                fields=["visit", "limit_set", "recipient", "tenancy"], name="one_delivery_a_tenancy_and_recipient"
            ),
        ),
    ]
