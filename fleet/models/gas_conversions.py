"""Gas conversions: an appliance made to burn another gas, and the test that follows."""

from django.db import models


class GasConversion(models.Model):
    """Projected from a record: from that day the appliance burns another gas, by which kit, label and sheet."""

    id = models.UUIDField(primary_key=True)
    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="gas_conversions")
    converted_on = models.DateField()
    from_fuel = models.CharField(max_length=40)
    to_fuel = models.CharField(max_length=40)
    kit = models.CharField(max_length=200)
    label = models.CharField(max_length=200)
    analyser_fuel = models.CharField(max_length=40)
    sheet = models.ForeignKey("fleet.ModelSheet", null=True, on_delete=models.PROTECT, related_name="+")
    done_by = models.CharField(max_length=200)
    test_within_days = models.PositiveSmallIntegerField()
    record = models.ForeignKey("fleet.Record", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["converted_on", "id"]
