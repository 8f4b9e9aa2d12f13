"""What a visit's readings mean: a cache that names every version it was made with."""

from functools import cached_property

from django.db import models

from fleet.limits import Card, Verdict
from fleet.models.register import new_id


class Judgement(models.Model):
    """One a visit. `card` is the decision table it was judged by, `verdicts` and `derived` what came of it."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    visit = models.OneToOneField("fleet.Visit", on_delete=models.PROTECT, related_name="judgement")
    engine = models.CharField(max_length=40)
    sheet_version = models.ForeignKey("fleet.SheetVersion", null=True, on_delete=models.PROTECT, related_name="+")
    stop_levels = models.ForeignKey("fleet.StopLevels", on_delete=models.PROTECT, related_name="+")
    limit_set_versions = models.ManyToManyField("fleet.LimitSetVersion", related_name="+")
    card = models.JSONField()
    derived = models.JSONField()
    verdicts = models.JSONField()
    outcome = models.CharField(max_length=20)
    judged_at = models.DateTimeField()

    class Meta:
        ordering = ["visit"]

    def __str__(self) -> str:
        return self.outcome

    @cached_property
    def table(self) -> Card:
        """The card, by its fields."""
        return Card.of_json(self.card)

    @cached_property
    def said(self) -> tuple[Verdict, ...]:
        """Every verdict, strictest first."""
        return tuple(Verdict(each) for each in self.verdicts["verdicts"])

    @cached_property
    def fired(self) -> tuple[Verdict, ...]:
        """Those outside, strictest first: finding number 1 is the first of them."""
        return tuple(each for each in self.said if each.outcome == "outside")


class Diagnosis(models.Model):
    """A pattern that a visit's readings show, for a licensed person to decide on; no verdict rests on it.

    `data_version`: of the data file, where its words stand. `named`: what its sentence names beside the figures.
    `inputs` names what it was drawn from: readings of this visit, or other visits where the pattern needs them.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    visit = models.ForeignKey("fleet.Visit", on_delete=models.CASCADE, related_name="diagnoses")
    number = models.PositiveSmallIntegerField()
    pattern = models.CharField(max_length=20)
    severity = models.CharField(max_length=30)
    evidence = models.CharField(max_length=300)
    data_version = models.PositiveSmallIntegerField(default=1)
    figures = models.JSONField(default=dict)
    named = models.JSONField(default=dict)
    inputs = models.JSONField(default=dict)
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["visit", "number"]
        constraints = [models.UniqueConstraint(fields=["visit", "pattern"], name="pattern_once_a_visit")]

    def __str__(self) -> str:
        return self.pattern


class Finding(models.Model):
    """A verdict that fired, strictest first."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    judgement = models.ForeignKey(Judgement, on_delete=models.CASCADE, related_name="findings")
    number = models.PositiveSmallIntegerField()
    reading = models.PositiveSmallIntegerField(null=True)
    phase = models.CharField(max_length=12, blank=True)
    rate = models.CharField(max_length=20, blank=True)
    quantity = models.CharField(max_length=40)
    value = models.FloatField(null=True)
    severity = models.CharField(max_length=30)
    stop = models.BooleanField(default=False)
    limit_set = models.CharField(max_length=200)
    action = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["judgement", "number"]

    def __str__(self) -> str:
        return f"{self.quantity}, {self.limit_set}"

    @property
    def verdict(self) -> Verdict:
        return self.judgement.fired[self.number - 1]
