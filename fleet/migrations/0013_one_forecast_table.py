import django.db.models.deletion
import fleet.models.register
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('fleet', '0012_tenancy_deliveries'),
    ]

    operations = [
        migrations.DeleteModel(
            name='CeilingForecast',
        ),
        migrations.DeleteModel(
            name='Forecast',
        ),
        migrations.CreateModel(
            name='Forecast',
            fields=[
                ('id', models.UUIDField(default=fleet.models.register.new_id, editable=False, primary_key=True, serialize=False)),
                ('appliance', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='forecasts', to='fleet.appliance')),
                ('quantity', models.CharField(max_length=10)),
                ('rate', models.CharField(max_length=20)),
                ('snapshot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='forecasts', to='fleet.snapshot')),
                ('sheet_version', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='fleet.sheetversion')),
                ('last_visit_on', models.DateField()),
                ('visits_used', models.PositiveSmallIntegerField()),
                ('basis', models.CharField(max_length=30)),
                ('unit', models.CharField(max_length=5)),
                ('level', models.FloatField()),
                ('pace_per_year', models.FloatField()),
                ('pace_sd_per_year', models.FloatField()),
                ('lower', models.FloatField(null=True)),
                ('upper', models.FloatField()),
                ('target', models.FloatField(null=True)),
                ('limit_words', models.CharField(blank=True, max_length=300)),
                ('accepted_chance', models.FloatField()),
                ('horizon_on', models.DateField(null=True)),
                ('outlook', models.JSONField(default=dict)),
                ('crossing', models.JSONField(default=list)),
                ('course', models.JSONField(default=list)),
                ('series', models.JSONField(default=list)),
                ('sentence', models.CharField(max_length=500)),
                ('made_at', models.DateTimeField()),
            ],
            options={
                'ordering': ['appliance', 'rate', 'quantity'],
                'constraints': [models.UniqueConstraint(fields=('appliance', 'quantity', 'rate'), name='one_forecast_a_series')],
                'indexes': [],
            },
        ),
    ]
