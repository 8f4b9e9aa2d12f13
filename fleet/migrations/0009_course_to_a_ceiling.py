from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("fleet", "0008_calendars")]

    operations: ClassVar = [
        migrations.AddField(model_name="ceilingforecast", name="course", field=models.JSONField(default=list)),
    ]
