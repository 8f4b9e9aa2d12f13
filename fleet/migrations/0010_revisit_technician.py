from typing import ClassVar

from django.db import migrations, models
from django.db.models import Q
from django.db.models.deletion import PROTECT


class Migration(migrations.Migration):
    dependencies: ClassVar = [("fleet", "0009_course_to_a_ceiling")]
    operations: ClassVar = [
        migrations.AddField(
            model_name="revisit",
            name="technician",
            field=models.ForeignKey(null=True, on_delete=PROTECT, related_name="+", to="fleet.person"),
        ),
        migrations.AddConstraint(
            model_name="revisit",
            constraint=models.CheckConstraint(
                condition=Q(technician__isnull=True) | Q(day__isnull=False), name="who_goes_goes_on_a_day"
            ),
        ),
    ]
