"""The trail tells by which token, keeps whole addresses, and what was refused to auditors."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('fleet', '0007_who_keeps_a_webhook'),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='auditentry',
            name='audit_entry_kind_is_known',
        ),
        migrations.AddField(
            model_name='auditentry',
            name='token',
            field=models.CharField(blank=True, max_length=100),
        ),
        migrations.AlterField(
            model_name='auditentry',
            name='kind',
            field=models.CharField(choices=[('logged_in', 'logged in'), ('log_in_refused', 'log-in refused'), ('logged_out', 'logged out'), ('access_changed', 'access changed'), ('exported', 'taken out as a file'), ('viewed', 'looked at by an auditor'), ('view_refused', 'refused to an auditor')], max_length=20),
        ),
        migrations.AlterField(
            model_name='auditentry',
            name='path',
            field=models.CharField(blank=True, max_length=1000),
        ),
        migrations.AddConstraint(
            model_name='auditentry',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['logged_in', 'log_in_refused', 'logged_out', 'access_changed', 'exported', 'viewed', 'view_refused'])), name='audit_entry_kind_is_known'),
        ),
    ]
