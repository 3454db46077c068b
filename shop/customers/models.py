from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from shop.calc.intervals import day_in_words
from shop.core.errors import refused
from shop.core.rows import sharing_years
from shop.customers.frame_number import doubt_about
from shop.staff.models import User

# No vehicle or damper that a shop works on is older; beyond the last, a digit was mistyped.
MODEL_YEARS = (1970, 2100)


def model_year_in(word: str) -> int | None:
    """The model year that a word of a search names; None for any other word."""
    year = int(word) if word.isascii() and word.isdigit() and len(word) == 4 else 0
    return year if MODEL_YEARS[0] <= year <= MODEL_YEARS[1] else None


class Consent(models.TextChoices):
    """Whether the customer wants service reminders by e-mail."""

    NOT_ASKED = "not_asked", "not asked yet"
    YES = "yes", "wants reminders"
    NO = "no", "wants none"


class CustomerQuerySet(models.QuerySet):
    def present(self):
        """Without those that were merged into another."""
        return self.filter(merged_into=None)


class Customer(models.Model):
    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    address = models.TextField(max_length=300, blank=True)
    note = models.TextField(max_length=1000, blank=True)
    reminder_consent = models.CharField(max_length=9, choices=Consent, default=Consent.NOT_ASKED)
    reminder_consent_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(
        default=1, help_text="Counts changes, so that a form opened before one is found out."
    )
    merged_into = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="merged", help_text="Who stays in its place."
    )
    created_at = models.DateTimeField()

    objects = CustomerQuerySet.as_manager()

    class Meta:
        ordering = ["name", "pk"]
        indexes = [models.Index(name="customer_by_name", fields=["name"])]  # the customer list
        constraints = [
            models.CheckConstraint(name="customer_name_given", condition=~Q(name="")),
            models.CheckConstraint(name="customer_consent_known", condition=Q(reminder_consent__in=Consent.values)),
        ]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        return reverse("desk:customer", args=[self.pk])


class VehicleModelQuerySet(models.QuerySet):
    def matching(self, text: str):
        """Of which every word is found in maker or name, or is a model year in which it was built."""
        found = self
        for word in text.split():
            asked = Q(maker__icontains=word) | Q(name__icontains=word)
            if year := model_year_in(word):
                asked |= Q(sharing_years(year, year))
            found = found.filter(asked)
        return found


class VehicleModel(models.Model):
    maker = models.CharField(max_length=60)
    name = models.CharField(max_length=60)
    year_from = models.PositiveSmallIntegerField("built from model year")
    year_to = models.PositiveSmallIntegerField("to model year", null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = VehicleModelQuerySet.as_manager()

    class Meta:
        ordering = ["maker", "name", "year_from"]
        constraints = [
            models.UniqueConstraint(name="vehiclemodel_once", fields=["maker", "name", "year_from"]),
            models.CheckConstraint(
                name="vehiclemodel_years_in_order",
                condition=Q(year_to=None) | Q(year_to__gte=F("year_from")),
                violation_error_message="The last model year lies before the first.",
            ),
        ]

    def __str__(self):
        return f"{self.maker} {self.name}"

    def years(self) -> str:
        return f"{self.year_from} to {self.year_to}" if self.year_to else f"from {self.year_from}"

    def check_year(self, year: int) -> None:
        """Raise ValidationError "unknown_year" when this model was not built in that model year."""
        if year < self.year_from or (self.year_to and year > self.year_to):
            words = f"There is no {self} of model year {year}: it was built {self.years()}. Check its frame plate."
            raise refused("model_year", words, "unknown_year")


class Vehicle(models.Model):
    customer = models.ForeignKey(Customer, models.PROTECT, related_name="vehicles")
    model = models.ForeignKey(VehicleModel, models.PROTECT, related_name="vehicles")
    model_year = models.PositiveSmallIntegerField()
    vin = models.CharField("VIN or frame number", max_length=30, blank=True)
    plate = models.CharField(max_length=15, blank=True)
    severe_use = models.BooleanField(default=False, help_text="Mud, dunes, racing or hauling: service comes sooner.")
    note = models.TextField(max_length=1000, blank=True)
    sold_on = models.DateField(null=True, blank=True)
    forecast_stale = models.BooleanField(default=True, help_text="Something its service forecast rests on has changed.")
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["model__maker", "model__name", "model_year", "pk"]
        constraints = [
            models.UniqueConstraint(
                name="vehicle_vin_once",
                fields=["vin"],
                condition=~Q(vin=""),
                violation_error_message="This VIN or frame number is in the book already. Search for it.",
            )
        ]
        indexes = [
            # The forecast refresh asks for the few stale ones among all.
            models.Index(name="vehicle_stale", fields=["id"], condition=Q(forecast_stale=True)),
        ]

    def __str__(self):
        return f"{self.model}, {self.model_year}"

    def get_absolute_url(self):
        return reverse("desk:vehicle", args=[self.pk])

    @property
    def vin_doubt(self) -> str:
        """What to look at in its number, in words; empty for nothing."""
        return doubt_about(self.vin)


class Meter(models.TextChoices):
    DISTANCE = "distance", "Odometer"
    HOURS = "hours", "Hour meter"


METER_QUANTITY = {Meter.DISTANCE: "distance", Meter.HOURS: "time"}


class ReadingSource(models.TextChoices):
    DESK = "desk", "front desk"
    BENCH = "bench", "bench"
    CUSTOMER = "customer", "customer"


class MeterReadingQuerySet(models.QuerySet):
    def standing(self):
        """Readings that no later row corrects."""
        return self.filter(corrected_by=None)


class MeterReading(models.Model):
    """What a vehicle's meter showed on a day. Append-only: a typing error is mended by a row that names the old one."""

    vehicle = models.ForeignKey(Vehicle, models.PROTECT, related_name="meter_readings")
    meter = models.CharField(max_length=8, choices=Meter)
    value_si = models.FloatField(help_text="Metres or seconds.")
    figures = models.CharField(max_length=20, help_text="As entered.")
    unit = models.CharField(max_length=6, help_text="As entered.")
    read_on = models.DateField()
    source = models.CharField(max_length=8, choices=ReadingSource)
    by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", help_text="Nobody: the customer."
    )
    recorded_at = models.DateTimeField()
    corrects = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="corrected_by")

    objects = MeterReadingQuerySet.as_manager()

    class Meta:
        ordering = ["read_on", "pk"]
        indexes = [models.Index(name="meterreading_of_vehicle", fields=["vehicle", "meter", "read_on"])]  # the forecast
        constraints = [
            models.CheckConstraint(
                name="meterreading_not_negative",
                condition=Q(value_si__gte=0),
                violation_error_message="A meter does not read below zero.",
            ),
            models.CheckConstraint(name="meterreading_meter_known", condition=Q(meter__in=Meter.values)),
        ]

    def __str__(self):
        return f"{self.figures} {self.unit} on {day_in_words(self.read_on)}"
