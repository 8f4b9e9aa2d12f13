"""Who made the last link by which somebody sets a password, when and why."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("fleet", "0004_refusals_as_codes")]

    operations = [
        migrations.AddField("user", "link_made_at", models.DateTimeField(blank=True, null=True)),
        migrations.AddField(
            "user",
            "link_made_by",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField("user", "link_why", models.CharField(blank=True, max_length=300)),
    ]
