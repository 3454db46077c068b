from django.db import models
from django.db.models import F, Q

from shop.core.rows import sharing_years
from shop.customers.models import MODEL_YEARS, Customer, Vehicle, VehicleModel, model_year_in
from shop.dampers.geometry import SIZES, Geometry
from shop.dampers.measures import MOST_CLICKS


class Position(models.TextChoices):
    FRONT_LEFT = "front_left", "front left"
    FRONT_RIGHT = "front_right", "front right"
    REAR_LEFT = "rear_left", "rear left"
    REAR_RIGHT = "rear_right", "rear right"


class Construction(models.TextChoices):
    RESERVOIR = "reservoir", "monotube with reservoir and IFP"
    INTERNAL = "internal", "monotube with IFP in the body"
    EMULSION = "emulsion", "emulsion, no IFP"
    TWIN_TUBE = "twin_tube", "twin-tube"
    SEALED = "sealed", "sealed"
    ELECTRONIC = "electronic", "electronically controlled"


class CapStyle(models.TextChoices):
    """How the cap over the IFP is held, because that decides how it comes off."""

    THREADED = "threaded", "threaded cap"
    RING = "ring", "cap under a snap ring"
    CLIP = "clip", "clip-in plug"


WITH_IFP = [Construction.RESERVOIR, Construction.INTERNAL]


class DamperModelQuerySet(models.QuerySet):
    def matching(self, text: str):
        """Whose maker and name hold every word, or all but those of a vehicle model and year on which they sit."""
        own, sits, asked = Q(), Q(), text.split()
        if not asked:
            return self
        for word in asked:
            named = Q(maker__icontains=word) | Q(name__icontains=word)
            own &= named
            there = Q(damper_model__in=self.model.objects.filter(named))
            there |= Q(vehicle_model__maker__icontains=word) | Q(vehicle_model__name__icontains=word)
            if year := model_year_in(word):
                built = Q(vehicle_model__year_to=None) | Q(vehicle_model__year_to__gte=year)
                there |= sharing_years(year, year) & built
            sits &= there
        return self.filter(own | Q(pk__in=Fitment.objects.filter(sits).values("damper_model")))


class DamperModel(models.Model):
    maker = models.CharField(max_length=60)
    name = models.CharField(max_length=60)
    construction = models.CharField(max_length=10, choices=Construction)
    serviceable = models.BooleanField("serviceable here", default=True)
    why_not = models.CharField("why not", max_length=300, blank=True, help_text="What to tell the customer.")
    cap_style = models.CharField(max_length=8, choices=CapStyle, blank=True, help_text="Empty: not known.")
    # See geometry.py; each may be unknown.
    body_bore_m = models.FloatField(null=True, blank=True)
    reservoir_bore_m = models.FloatField(null=True, blank=True)
    reservoir_depth_m = models.FloatField(null=True, blank=True)
    cap_intrusion_m = models.FloatField(null=True, blank=True)
    shaft_m = models.FloatField("shaft diameter", null=True, blank=True)
    stroke_m = models.FloatField(null=True, blank=True)
    highest_gas_pa = models.FloatField("highest gas pressure", null=True, blank=True)
    spring_rate_n_per_m = models.FloatField("spring rate at the damper", null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = DamperModelQuerySet.as_manager()

    class Meta:
        ordering = ["maker", "name"]
        constraints = [
            models.UniqueConstraint(name="dampermodel_once", fields=["maker", "name"]),
            models.CheckConstraint(
                name="dampermodel_construction_known", condition=Q(construction__in=Construction.values)
            ),
            models.CheckConstraint(
                name="dampermodel_refusal_has_reason",
                condition=Q(serviceable=True) | ~Q(why_not=""),
                violation_error_message="Say why this damper is not serviced here, and what to tell the customer.",
            ),
            models.CheckConstraint(
                name="dampermodel_cap_style_known", condition=Q(cap_style="") | Q(cap_style__in=CapStyle.values)
            ),
            models.CheckConstraint(
                name="dampermodel_cap_over_ifp",
                condition=Q(cap_style="") | Q(construction__in=WITH_IFP),
                violation_error_message="A damper of this construction has no IFP, and so no cap over one.",
            ),
            *[
                models.CheckConstraint(
                    name=f"dampermodel_{size.name}",
                    condition=Q(**{size.name: None})
                    | (Q(**{f"{size.name}__gte": size.low_si}) & Q(**{f"{size.name}__lte": size.high_si})),
                    violation_error_message=f"{size.label}: no damper has this. Check figures and unit.",
                )
                for size in SIZES
            ],
            models.CheckConstraint(
                name="dampermodel_shaft_within_bore",
                condition=Q(shaft_m=None) | Q(reservoir_bore_m=None) | Q(shaft_m__lt=F("reservoir_bore_m")),
                violation_error_message="The shaft is as thick as the reservoir's bore or thicker. Check both figures.",
            ),
            models.CheckConstraint(
                name="dampermodel_shaft_within_body",
                condition=Q(shaft_m=None) | Q(body_bore_m=None) | Q(shaft_m__lt=F("body_bore_m")),
                violation_error_message="The shaft is as thick as the body's bore or thicker. Check both figures.",
            ),
        ]

    def __str__(self):
        return f"{self.maker} {self.name}"

    @property
    def has_ifp(self) -> bool:
        return self.construction in WITH_IFP

    @property
    def geometry(self) -> Geometry:
        return Geometry.of(self)


class AdjusterKind(models.TextChoices):
    COMPRESSION = "compression", "compression"
    LOW_SPEED = "low_speed", "low-speed compression"
    HIGH_SPEED = "high_speed", "high-speed compression"
    REBOUND = "rebound", "rebound"


class Adjuster(models.Model):
    """An adjuster of a damper model that clicks, and how many clicks it has. The preload ring is none."""

    damper_model = models.ForeignKey(DamperModel, models.CASCADE, related_name="adjusters")
    kind = models.CharField(max_length=11, choices=AdjusterKind)
    clicks = models.PositiveSmallIntegerField(help_text="The highest count, out from fully closed.")

    class Meta:
        ordering = ["damper_model", "pk"]
        constraints = [
            models.UniqueConstraint(name="adjuster_once", fields=["damper_model", "kind"]),
            models.CheckConstraint(name="adjuster_kind_known", condition=Q(kind__in=AdjusterKind.values)),
            models.CheckConstraint(
                name="adjuster_clicks_plausible",
                condition=Q(clicks__gte=1) & Q(clicks__lte=MOST_CLICKS),
                violation_error_message=f"An adjuster has 1 to {MOST_CLICKS} clicks. Count them again.",
            ),
        ]

    def __str__(self):
        return f"{self.get_kind_display()}, {self.in_clicks()}"

    def in_clicks(self) -> str:
        return "1 click" if self.clicks == 1 else f"{self.clicks} clicks"


class Fitment(models.Model):
    """Which damper model a vehicle model carries at a corner, in which model years."""

    vehicle_model = models.ForeignKey(VehicleModel, models.CASCADE, related_name="fitments")
    position = models.CharField(max_length=11, choices=Position)
    damper_model = models.ForeignKey(DamperModel, models.PROTECT, related_name="fitments")
    year_from = models.PositiveSmallIntegerField()
    year_to = models.PositiveSmallIntegerField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["vehicle_model", "position", "year_from"]
        constraints = [
            models.UniqueConstraint(name="fitment_once", fields=["vehicle_model", "position", "year_from"]),
            models.CheckConstraint(name="fitment_position_known", condition=Q(position__in=Position.values)),
            models.CheckConstraint(
                name="fitment_years_in_order",
                condition=Q(year_to=None) | Q(year_to__gte=F("year_from")),
            ),
        ]

    def __str__(self):
        return f"{self.vehicle_model} {self.get_position_display()}: {self.damper_model}"


class Damper(models.Model):
    """One damper that a customer owns, on a vehicle's corner or loose."""

    customer = models.ForeignKey(Customer, models.PROTECT, related_name="dampers")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, null=True, blank=True, related_name="dampers")
    position = models.CharField(max_length=11, choices=Position, blank=True)
    model = models.ForeignKey(DamperModel, models.PROTECT, related_name="dampers")
    model_year = models.PositiveSmallIntegerField()
    serial = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["vehicle", "position", "pk"]
        constraints = [
            models.UniqueConstraint(
                name="damper_one_per_corner",
                fields=["vehicle", "position"],
                condition=Q(vehicle__isnull=False),
                violation_error_message="This corner already has a damper. Take that one off the vehicle first.",
            ),
            models.CheckConstraint(
                name="damper_on_vehicle_has_position",
                condition=Q(vehicle=None) | Q(position__in=Position.values),
                violation_error_message="Say at which corner of the vehicle the damper sits.",
            ),
            models.CheckConstraint(
                name="damper_model_year_plausible",
                condition=Q(model_year__gte=MODEL_YEARS[0]) & Q(model_year__lte=MODEL_YEARS[1]),
                violation_error_message=f"The model year has four digits, from {MODEL_YEARS[0]} on.",
            ),
        ]

    def __str__(self):
        return f"{self.model}, {self.model_year}"

    def get_absolute_url(self):
        return (self.vehicle or self.customer).get_absolute_url()

    def other_year(self) -> str:
        """In words, when its model year is not its vehicle's: "of 2014, on a vehicle of 2015"; else empty."""
        if not self.vehicle or self.vehicle.model_year == self.model_year:
            return ""
        return f"of {self.model_year}, on a vehicle of {self.vehicle.model_year}"

    def where(self) -> str:
        """Position in words; a loose damper has none or a remembered one."""
        return self.get_position_display() or "loose"
