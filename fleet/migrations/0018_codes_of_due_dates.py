"""How a due date comes about, and why a visit doesn't count, are kept as codes and figures."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("fleet", "0017_words_of_diagnoses")]

    operations = [
        migrations.RemoveField("duty", "words"),
        migrations.RemoveField("duty", "cannot_tell"),
        migrations.RemoveField("duty", "not_discharged"),
        migrations.RemoveField("retest", "words"),
        migrations.RemoveField("revisit", "sentence"),
        migrations.RemoveField("visitcheck", "why_not"),
        migrations.AddField("duty", "steps", models.JSONField(blank=True, default=list)),
        migrations.AddField("duty", "cannot_tell", models.JSONField(blank=True, default=list)),
        migrations.AddField("duty", "not_discharged", models.JSONField(blank=True, default=list)),
        migrations.AddField("retest", "steps", models.JSONField(default=list)),
        migrations.AddField("revisit", "why", models.JSONField(default=list)),
        migrations.AddField("visitcheck", "why_not", models.JSONField(default=list)),
    ]
