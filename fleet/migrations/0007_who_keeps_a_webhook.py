"""Who answers for a webhook whose maker has left."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("fleet", "0006_day_of_last_use")]

    operations = [
        migrations.AddField(
            "webhook",
            "kept_by",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        )
    ]
