"""What a visit's readings mean: a cache that names every version it was made with."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from functools import cached_property
from typing import Any

from django.db import models

from fleet.combustion import Doubt, Steadiness
from fleet.limits import Card, Verdict
from fleet.models.register import new_id


@dataclass(frozen=True)
class SeriesSteadiness:
    """Whether a logged series had come to rest: `overall` for target and CO, `of` by quantity; None: it can't tell."""

    overall: bool | None
    of: Mapping[str, Steadiness]

    @classmethod
    def of_json(cls, told: Mapping[str, Any]) -> "SeriesSteadiness":
        of = {name: Steadiness(**each) for name, each in told.items() if name != "overall"}
        return cls(told["overall"], of)

    def as_json(self) -> dict[str, Any]:
        return {name: asdict(each) for name, each in self.of.items()} | {"overall": self.overall}


@dataclass(frozen=True, init=False)
class Derived:
    """What a reading means; names, units and bases as in `combustion.figures`, None where it can't be told.

    input_share_pct : of the sheet's rated input.    uncertainties : the standard uncertainty of each figure from the
    analyser's accuracy while it is in calibration.    qualifiers : carried from what was read, where not "=".
    flue_loss_coefficients : the regulation's by which the loss was worked out, beside the engineering figures.
    invalid : a doubt takes away what was derived.
    """

    number: int
    uncertainties: Mapping[str, float | None]
    qualifiers: Mapping[str, str]
    doubts: Sequence[Doubt]
    steadiness: SeriesSteadiness | None = None
    invalid: bool = False
    o2_derived: bool = False
    co2_derived: bool = False
    nox_estimated: bool = False
    flue_loss_coefficients: str | None = None
    input_share_pct: float | None = None
    o2_pct: float | None = None
    co2_pct: float | None = None
    excess_air_ratio: float | None = None
    dilution_factor: float | None = None
    co_ppm_air_free: float | None = None
    nox_ppm_air_free: float | None = None
    co_co2_ratio: float | None = None
    co_mg_per_kwh_net: float | None = None
    co_mg_per_kwh_gross: float | None = None
    nox_mg_per_kwh_net: float | None = None
    nox_mg_per_kwh_gross: float | None = None
    sensible_loss_pct_net: float | None = None
    latent_loss_pct_gross: float | None = None
    unburnt_loss_pct_net: float | None = None
    flue_loss_pct: float | None = None
    efficiency_pct_net: float | None = None
    efficiency_pct_gross: float | None = None
    condensate_fraction: float | None = None
    condensate_kg_per_kwh_gross: float | None = None
    dew_point_c: float | None = None
    input_kw_gross: float | None = None
    input_kw_net: float | None = None

    def __init__(self, given: Mapping[str, Any]) -> None:
        """By the fields' names; a judgement made before a figure was known has none of it."""
        vars(self).update({"uncertainties": {}, "qualifiers": {}, "doubts": (), **given})

    @property
    def condensed_pct(self) -> float | None:
        return None if self.condensate_fraction is None else 100 * self.condensate_fraction

    @classmethod
    def of_json(cls, told: Mapping[str, Any]) -> "Derived":
        shown = told.get("steadiness")
        parts = {"steadiness": shown and SeriesSteadiness.of_json(shown)}
        return cls({**told, **parts, "doubts": tuple(Doubt(**each) for each in told.get("doubts", ()))})

    def as_json(self) -> dict[str, Any]:
        shown = self.steadiness and self.steadiness.as_json()
        return vars(self) | {"steadiness": shown, "doubts": [asdict(each) for each in self.doubts]}


@dataclass(frozen=True)
class TurnedOut:
    """How a visit turned out, over all limits: as it was left, and as it was `found`.

    open_ends : what keeps it from being called within, as coded label and rate (empty where it is of no rate).
    stop, stop_as_left : something that ends the firing was outside at all, and stands so.
    before_work : rates whose last reading came before work that can move them.
    """

    outcome: str
    found: str
    open_ends: Sequence[Sequence[Any]]
    stop: bool
    stop_as_left: bool
    before_work: Sequence[str]


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

    @cached_property
    def table(self) -> Card:
        """The card, by its fields."""
        return Card.of_json(self.card)

    @cached_property
    def figures(self) -> dict[int, Derived]:
        """What was derived, by the reading's number."""
        return {each["number"]: Derived.of_json(each) for each in self.derived}

    @cached_property
    def turned_out(self) -> TurnedOut:
        # One made before it was known which rates were read before the work says of none.
        told = {"before_work": ()} | self.verdicts
        return TurnedOut(**{each.name: told[each.name] for each in fields(TurnedOut)})

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

    class Meta:
        ordering = ["judgement", "number"]

    @property
    def verdict(self) -> Verdict:
        return self.judgement.fired[self.number - 1]


class VisitCheck(models.Model):
    """One a visit: a cache, made again whenever the visit is judged or `made_with` is another version.

    counts: tested, and a reading of its own flue judged for CO; else `why_not` says, coded, what it lacked.
    answered: fields of the record that the record itself answers; conditions: of those under which a field is asked
    for, the ones that hold. used: analysers, people (ids, or as given where they aren't on the register) and the kind
    of fuel, by which the register tells whether the record is evidence. run_hours_h: the hour counter, where read.
    """

    visit = models.OneToOneField("fleet.Visit", primary_key=True, on_delete=models.CASCADE, related_name="check_made")
    appliance = models.ForeignKey(
        "fleet.Appliance", on_delete=models.CASCADE, related_name="checks_made", db_index=False
    )
    local_date = models.DateField()
    counts = models.BooleanField()
    why_not = models.JSONField(default=list)
    answered = models.JSONField(default=list)
    conditions = models.JSONField(default=list)
    used = models.JSONField(default=dict)
    run_hours_h = models.FloatField(null=True)
    made_with = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["local_date", "visit_id"]
        indexes = [models.Index(fields=["appliance", "local_date", "visit"], name="checks_of_an_appliance")]
