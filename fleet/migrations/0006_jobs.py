from typing import ClassVar

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("fleet", "0005_flags_and_revisits")]

    operations: ClassVar = [
        migrations.AddField(
            model_name="job",
            name="carrier",
            field=models.CharField(
                blank=True,
                choices=[("broker", "Broker"), ("table", "Table"), ("hand", "Hand")],
                default="",
                max_length=10,
            ),
        ),
        migrations.AddField(model_name="job", name="claimed_at", field=models.DateTimeField(null=True)),
        migrations.AddField(model_name="job", name="failed_at", field=models.DateTimeField(null=True)),
        migrations.AddField(model_name="job", name="is_bulk", field=models.BooleanField(default=False)),
        migrations.AddField(model_name="job", name="is_slot", field=models.BooleanField(default=False)),
        migrations.AlterField(
            model_name="job",
            name="state",
            field=models.CharField(
                choices=[
                    ("waiting", "Waiting"),
                    ("running", "Running"),
                    ("done", "Done"),
                    ("dead", "Dead"),
                    ("cancelled", "Cancelled"),
                ],
                default="waiting",
                max_length=10,
            ),
        ),
        migrations.AddIndex(
            model_name="job",
            index=models.Index(
                condition=models.Q(("state", "done")), fields=["finished_at"], name="done_jobs_by_their_end"
            ),
        ),
        migrations.AddConstraint(
            model_name="job",
            constraint=models.UniqueConstraint(
                condition=models.Q(("is_slot", True)), fields=("kind", "key"), name="one_job_a_slot"
            ),
        ),
    ]
