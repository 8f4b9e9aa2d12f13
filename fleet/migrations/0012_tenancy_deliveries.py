from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("fleet", "0011_duties_of_extra_intervals")]
    operations: ClassVar = [
        migrations.AddField("delivery", "not_needed", models.CharField(blank=True, default="", max_length=300)),
    ]
