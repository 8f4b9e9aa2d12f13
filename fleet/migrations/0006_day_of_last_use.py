"""When a token was last used."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("fleet", "0005_links_of_log_ins")]

    operations = [migrations.AddField("apitoken", "used_on", models.DateField(blank=True, null=True))]
