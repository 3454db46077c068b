from django.db import models
from django.db.models import F, Q, Value
from django.urls import reverse

from shop.calc.atmosphere import HIGHEST_M, LOWEST_M
from shop.core.errors import refused
from shop.customers.models import VehicleModel
from shop.dampers.measures import QUANTITY, SPECIFIED, SPECIFIED_CHOICES, Measure
from shop.dampers.models import CapStyle, Construction, DamperModel, Position
from shop.specs.gas import Gas, flags
from shop.staff.models import User


class SheetStatus(models.TextChoices):
    DRAFT = "draft", "draft"
    VERIFIED = "verified", "verified"
    WITHDRAWN = "withdrawn", "withdrawn"


class SheetPosition(models.TextChoices):
    """Where on the vehicle a sheet holds; the finer one wins over the coarser."""

    ANY = "any", "any position"
    FRONT = "front", "front"
    REAR = "rear", "rear"
    FRONT_LEFT = Position.FRONT_LEFT.value, Position.FRONT_LEFT.label
    FRONT_RIGHT = Position.FRONT_RIGHT.value, Position.FRONT_RIGHT.label
    REAR_LEFT = Position.REAR_LEFT.value, Position.REAR_LEFT.label
    REAR_RIGHT = Position.REAR_RIGHT.value, Position.REAR_RIGHT.label


# What a charge is meant at when its source does not say: the trade's room temperature, common practice, no source.
REFERENCE_K, REFERENCE_ALTITUDE_M = 293.15, 0.0
# A thermometer at a bench, and where on earth a bench stands; also what the charge of a sheet can be meant at.
COLDEST_BENCH_K, WARMEST_BENCH_K = 233.15, 333.15
MOST_MINUTES = 40 * 60  # of labour for one damper: a week's work


class SpecSheet(models.Model):
    """The figures of one source for one damper model, a range of model years and a position."""

    code = models.CharField(max_length=30)
    version = models.PositiveSmallIntegerField(default=1)
    damper_model = models.ForeignKey(DamperModel, models.PROTECT, related_name="sheets")
    vehicle_model = models.ForeignKey(
        VehicleModel,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Empty: whatever vehicle it sits on.",
    )
    position = models.CharField(max_length=11, choices=SheetPosition, default=SheetPosition.ANY)
    year_from = models.PositiveSmallIntegerField("from model year", null=True, blank=True)
    year_to = models.PositiveSmallIntegerField("to model year", null=True, blank=True)

    source_document = models.CharField(max_length=200)
    source_revision = models.CharField(max_length=40)
    source_page = models.CharField(max_length=40)
    note = models.TextField(max_length=1000, blank=True)
    reference_k = models.FloatField("temperature at which the charge is meant", default=REFERENCE_K)
    reference_altitude_m = models.FloatField("altitude at which the charge is meant", default=REFERENCE_ALTITUDE_M)

    flag_reason = models.CharField(
        max_length=300, blank=True, help_text="Why it was verified although its gas was flagged."
    )

    status = models.CharField(max_length=9, choices=SheetStatus, default=SheetStatus.DRAFT)
    entered_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    verified_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    verified_at = models.DateTimeField(null=True, blank=True)
    replaces = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="next_versions")
    edition = models.PositiveSmallIntegerField(
        default=1, help_text="Counts the changes of the draft, so that what is verified is what was compared."
    )
    # Null, not empty: SQLite adds such a column without building the table anew, and so its triggers stay.
    sent_back_why = models.CharField(  # noqa: DJ001
        max_length=300,
        null=True,
        blank=True,
        help_text="What a second person found amiss; gone with the next edition.",
    )
    sent_back_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["damper_model__maker", "damper_model__name", "code", "-version"]
        # Two verified sheets of the same rank may not share a model year: held by the exclusion constraint
        # specsheet_one_answer on PostgreSQL and by triggers on SQLite, both made in migration 0002.
        constraints = [
            models.UniqueConstraint(
                name="specsheet_version_once",
                fields=["code", "version"],
                violation_error_message="This sheet code and version exist already. Take the next version.",
            ),
            models.UniqueConstraint(
                name="specsheet_one_next_version",
                fields=["replaces"],
                condition=~Q(status=SheetStatus.WITHDRAWN),
                violation_error_message="This sheet has a next version already. Change that one.",
            ),
            models.CheckConstraint(name="specsheet_status_known", condition=Q(status__in=SheetStatus.values)),
            models.CheckConstraint(name="specsheet_position_known", condition=Q(position__in=SheetPosition.values)),
            models.CheckConstraint(
                name="specsheet_years_in_order",
                condition=Q(year_from=None) | Q(year_to=None) | Q(year_to__gte=F("year_from")),
                violation_error_message="The last model year lies before the first.",
            ),
            models.CheckConstraint(
                name="specsheet_source_given",
                condition=~Q(source_document="") & ~Q(source_revision="") & ~Q(source_page=""),
                violation_error_message="A figure needs its source: document, revision and page.",
            ),
            models.CheckConstraint(
                name="specsheet_reference_temperature",
                condition=Q(reference_k__gte=COLDEST_BENCH_K) & Q(reference_k__lte=WARMEST_BENCH_K),
                violation_error_message="The temperature at which the charge is meant lies from −40 to 60 °C.",
            ),
            models.CheckConstraint(
                name="specsheet_reference_altitude",
                condition=Q(reference_altitude_m__gte=LOWEST_M) & Q(reference_altitude_m__lte=HIGHEST_M),
                violation_error_message="The altitude at which the charge is meant lies from −500 to 9000 m.",
            ),
            models.CheckConstraint(
                name="specsheet_second_person",
                condition=Q(verified_by=None) | ~Q(verified_by=F("entered_by")),
                violation_error_message="Whoever entered a sheet cannot verify it. Ask a second person.",
            ),
            models.CheckConstraint(
                name="specsheet_verified_by_somebody",
                condition=~Q(status=SheetStatus.VERIFIED)
                | (Q(verified_by__isnull=False) & Q(verified_at__isnull=False)),
                violation_error_message="A verified sheet names who verified it and when.",
            ),
        ]

    def __str__(self):
        return f"{self.code} version {self.version}"

    def get_absolute_url(self):
        return reverse("manage:sheet", args=[self.pk])

    @property
    def discarded(self) -> bool:
        """Whether it was a draft for as long as it was anything: nobody ever worked by it."""
        return self.status == SheetStatus.WITHDRAWN and self.verified_by_id is None

    def get_status_display(self) -> str:
        return "discarded" if self.discarded else SheetStatus(self.status).label

    @property
    def replaced_by(self) -> "SpecSheet | None":
        """The next version, the newest if there were several; one that was withdrawn counts only when it is alone."""
        versions = sorted(self.next_versions.all(), key=lambda one: (one.status != SheetStatus.WITHDRAWN, one.version))
        return versions[-1] if versions else None

    def edition_by(self, person: User) -> bool:
        """Whether this person has entered or changed it, and therefore cannot verify it."""
        return self.entered_by_id == person.pk or self.editions.filter(by=person).exists()

    def clean(self):
        if self.year_from and self.year_to and self.year_to < self.year_from:
            words = f"{self.year_to} lies before the first model year, {self.year_from}."
            raise refused("year_to", words, "years_in_order")

    def years(self) -> str:
        return years_in_words(self.year_from, self.year_to)

    def source(self) -> str:
        page = f"page {self.source_page}" if self.source_page.isdecimal() else self.source_page
        return f"{self.source_document}, {self.source_revision}, {page}"

    def flags(self) -> list[str]:
        """What is wrong with its gas in a damper of this model, as the sizes in the catalogue are today."""
        if not self.damper_model.has_ifp:
            return []
        values = {one.measure: one.value_si for one in self.values.all()}
        gas = Gas.of(values, self.reference_k, self.reference_altitude_m)
        return flags(self.damper_model.geometry, gas, values.get(Measure.IFP_DEPTH))


def years_in_words(year_from: int | None, year_to: int | None) -> str:
    """Model years of a sheet or kit line, open ends allowed."""
    if year_from and year_to:
        return f"model year {year_from}" if year_from == year_to else f"model years {year_from} to {year_to}"
    if year_from:
        return f"model years from {year_from}"
    return f"model years to {year_to}" if year_to else "all model years"


class SpecValue(models.Model):
    """One figure of a sheet, as printed in its source, with the range that is still in tolerance."""

    sheet = models.ForeignKey(SpecSheet, models.CASCADE, related_name="values")
    measure = models.CharField(max_length=20, choices=SPECIFIED_CHOICES)
    value_si = models.FloatField()
    low_si = models.FloatField()
    high_si = models.FloatField()
    figures = models.CharField(max_length=20, help_text="As printed in the source.")
    unit = models.CharField(max_length=8, help_text="As printed in the source.")
    tolerance = models.CharField(max_length=40, blank=True, help_text="As printed in the source, or the shop's own.")
    page = models.CharField(max_length=40, blank=True, help_text="If it differs from the sheet's.")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["sheet", "pk"]
        constraints = [
            models.UniqueConstraint(name="specvalue_once_per_sheet", fields=["sheet", "measure"]),
            models.CheckConstraint(
                name="specvalue_measure_known", condition=Q(measure__in=[m.value for m in SPECIFIED])
            ),
            models.CheckConstraint(
                name="specvalue_within_its_range",
                condition=Q(low_si__lte=F("value_si"))
                & Q(high_si__gte=F("value_si"))
                & Q(low_si__gte=0)
                & Q(value_si__gt=0),
                violation_error_message="The value lies outside its own tolerance, or is not above zero.",
            ),
        ]

    def __str__(self):
        return f"{self.get_measure_display()} {self.figures} {self.unit}"

    @property
    def quantity(self):
        return QUANTITY[self.measure]


class SheetEdition(models.Model):
    """What a sheet said after it was entered or its draft was changed: by whom, when and why. Append-only."""

    sheet = models.ForeignKey(SpecSheet, models.PROTECT, related_name="editions")
    number = models.PositiveSmallIntegerField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    why = models.CharField(max_length=300, blank=True)
    content = models.JSONField(help_text="Everything the sheet said, see shop/specs/history.py.")

    class Meta:
        ordering = ["sheet", "number"]
        constraints = [models.UniqueConstraint(name="sheetedition_number_once", fields=["sheet", "number"])]

    def __str__(self):
        return f"edition {self.number} of {self.sheet_id}"


class SheetScan(models.Model):
    """A page of the source as a picture. Pages of a draft may be taken away; later ones are only added."""

    sheet = models.ForeignKey(SpecSheet, models.PROTECT, related_name="scans")
    number = models.PositiveSmallIntegerField()
    digest = models.CharField(max_length=64, help_text="SHA-256 of the picture; the name of its file.")
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    file_name = models.CharField(max_length=200, help_text="As it was handed in.")
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["sheet", "number"]
        constraints = [
            models.UniqueConstraint(name="sheetscan_number_once", fields=["sheet", "number"]),
            models.UniqueConstraint(name="sheetscan_page_once", fields=["sheet", "digest"]),
        ]

    def __str__(self):
        return f"page {self.number} of {self.sheet_id}"

    def get_absolute_url(self):
        """Named by what it shows: the number of a page that was taken away is given to another one."""
        return reverse("manage:scan", args=[self.sheet_id, self.digest])

    @property
    def path(self) -> str:
        """Where the picture lies in the storage."""
        return f"scans/{self.digest}.jpg"


class KitMeasure(models.TextChoices):
    COUNT = "count", "pieces"
    VOLUME = "volume", "volume"
    MASS = "mass", "mass"


# Base units of a part; more of it at once is a slip of the finger: a million pieces, 10 m³, 10 t.
MOST_AT_ONCE = {KitMeasure.COUNT: 10**6, KitMeasure.VOLUME: 10**10, KitMeasure.MASS: 10**10}


# A condition on an empty column is neither true nor false to the database, and only false is refused: hence the
# __isnull beside each __gt below.
class KitLine(models.Model):
    """A part or fluid that a service of one damper takes, named by its part number as the parts list prints it.

    A number, not a row of the stock: the parts list of a damper is true whether or not this shop stocks the part.
    A line that stands in for another is its alternate: of the two a rebuild takes one.
    """

    damper_model = models.ForeignKey(DamperModel, models.CASCADE, related_name="kit_lines")
    year_from = models.PositiveSmallIntegerField(null=True, blank=True)
    year_to = models.PositiveSmallIntegerField(null=True, blank=True)
    part_number = models.CharField(max_length=40)
    name = models.CharField(max_length=120)
    measure = models.CharField(max_length=6, choices=KitMeasure)
    amount = models.PositiveBigIntegerField(
        null=True, blank=True, help_text="Pieces, microlitres or milligrams. Empty: the oil volume of the spec sheet."
    )
    optional = models.BooleanField(default=False, help_text="Taken only when the inspection asks for it.")
    stands_in_for = models.ForeignKey(
        "self",
        models.CASCADE,
        null=True,
        blank=True,
        related_name="alternates",
        help_text="The line in whose place this part may be taken.",
    )
    rank = models.PositiveSmallIntegerField(
        default=0, help_text="Of several alternates of a line, the lower one is offered first; 0: it is none."
    )

    class Meta:
        ordering = ["damper_model", "pk"]
        constraints = [
            models.CheckConstraint(name="kitline_measure_known", condition=Q(measure__in=KitMeasure.values)),
            models.CheckConstraint(
                name="kitline_amount_given",
                condition=Q(amount__isnull=False, amount__gt=0) | Q(amount=None, measure=KitMeasure.VOLUME),
                violation_error_message="Give the amount; only oil may take it from the spec sheet.",
            ),
            models.CheckConstraint(
                name="kitline_years_in_order",
                condition=Q(year_from=None) | Q(year_to=None) | Q(year_to__gte=F("year_from")),
            ),
            models.CheckConstraint(
                name="kitline_not_its_own_alternate",
                condition=Q(stands_in_for=None) | ~Q(stands_in_for=F("id")),
                violation_error_message="A part cannot stand in for itself.",
            ),
            models.CheckConstraint(
                name="kitline_rank_of_alternates",
                condition=Q(stands_in_for=None, rank=0) | Q(stands_in_for__isnull=False, rank__gt=0),
                violation_error_message="An alternate has a rank from 1 up; another line has none.",
            ),
            models.CheckConstraint(
                name="kitline_optional_or_alternate",
                condition=Q(stands_in_for=None) | Q(optional=False),
                violation_error_message="An alternate is optional when the line is for which it stands in: "
                "mark that line instead.",
            ),
        ]

    def __str__(self):
        return f"{self.part_number} {self.name}"


class ServiceInterval(models.Model):
    """When service is due, whichever comes first; of a damper model, a vehicle model, or (both empty) by default."""

    damper_model = models.ForeignKey(DamperModel, models.CASCADE, null=True, blank=True, related_name="intervals")
    vehicle_model = models.ForeignKey(VehicleModel, models.CASCADE, null=True, blank=True, related_name="intervals")
    months = models.PositiveSmallIntegerField(null=True, blank=True)
    distance_m = models.FloatField(null=True, blank=True)
    hours_s = models.FloatField(null=True, blank=True, help_text="Seconds of engine time.")
    severe_factor = models.FloatField(
        default=1.0, help_text="What of the interval is left in severe use: 0.5 is service twice as often."
    )
    source = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="serviceinterval_of_damper_once", fields=["damper_model"], condition=Q(damper_model__isnull=False)
            ),
            models.UniqueConstraint(
                name="serviceinterval_of_vehicle_once",
                fields=["vehicle_model"],
                condition=Q(vehicle_model__isnull=False),
            ),
            models.UniqueConstraint(
                Value(1),
                name="serviceinterval_by_default_once",
                condition=Q(damper_model__isnull=True, vehicle_model__isnull=True),
                violation_error_message="There is a default interval already: change that one.",
            ),
            models.CheckConstraint(
                name="serviceinterval_of_one_thing", condition=Q(damper_model=None) | Q(vehicle_model=None)
            ),
            models.CheckConstraint(
                name="serviceinterval_says_something",
                condition=Q(months__isnull=False, months__gt=0)
                | Q(distance_m__isnull=False, distance_m__gt=0)
                | Q(hours_s__isnull=False, hours_s__gt=0),
                violation_error_message="Give at least one of months, distance and hours, above zero.",
            ),
            models.CheckConstraint(
                name="serviceinterval_severe_factor",
                condition=Q(severe_factor__gt=0) & Q(severe_factor__lte=1),
                violation_error_message="The factor for severe use is more than 0 and at most 1.",
            ),
        ]

    def __str__(self):
        return f"interval of {self.damper_model or self.vehicle_model or 'every damper'}"


class LabourTime(models.Model):
    """Bench minutes of a rebuild: of one damper of a model, or (empty) of any other, then with what each order adds."""

    damper_model = models.ForeignKey(DamperModel, models.CASCADE, null=True, blank=True, related_name="labour_times")
    minutes = models.PositiveSmallIntegerField(help_text="For one damper.")
    order_minutes = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Once for each order: wash, tags, paper. Only of the shop's default."
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="labourtime_of_damper_once", fields=["damper_model"], condition=Q(damper_model__isnull=False)
            ),
            models.UniqueConstraint(
                Value(1),
                name="labourtime_by_default_once",
                condition=Q(damper_model__isnull=True),
                violation_error_message="There is a default labour time already: change that one.",
            ),
            models.CheckConstraint(
                name="labourtime_within_reason",
                condition=Q(minutes__gte=1, minutes__lte=MOST_MINUTES)
                & (Q(order_minutes=None) | Q(order_minutes__lte=MOST_MINUTES)),
                violation_error_message="A damper takes from 1 minute to 40 hours.",
            ),
            models.CheckConstraint(
                name="labourtime_order_only_by_default",
                condition=Q(damper_model=None, order_minutes__isnull=False)
                | Q(damper_model__isnull=False, order_minutes=None),
            ),
        ]

    def __str__(self):
        return f"labour time of {self.damper_model or 'every damper'}"


class ProcedureQuerySet(models.QuerySet):
    def with_people(self):
        """With whom and what the page of a version names."""
        return self.select_related("drafted_by", "made_current_by", "copied_from")


class Procedure(models.Model):
    """One version of the ordered steps of a service. A job keeps the version it began with; a change is a new version.

    A draft until somebody makes it current; from then on frozen with its steps, by triggers (migration 0015).
    """

    name = models.CharField(max_length=80)
    version = models.PositiveSmallIntegerField(default=1)
    current = models.BooleanField(default=False)
    edition = models.PositiveIntegerField(default=1, help_text="Goes up with every change of a draft.")
    copied_from = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="+")
    drafted_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    drafted_at = models.DateTimeField(null=True, blank=True, help_text="Empty: it came with Damperbook.")
    made_current_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    made_current_at = models.DateTimeField(null=True, blank=True, help_text="The last time. Empty: a draft.")
    why = models.CharField(max_length=300, blank=True, help_text="Why it was made current.")

    objects = ProcedureQuerySet.as_manager()

    class Meta:
        ordering = ["name", "-version"]
        constraints = [
            models.UniqueConstraint(name="procedure_version_once", fields=["name", "version"]),
            models.UniqueConstraint(name="procedure_one_current", fields=["current"], condition=Q(current=True)),
            models.UniqueConstraint(
                name="procedure_one_draft",
                fields=["name"],
                condition=Q(made_current_at=None),
                violation_error_message="There is a draft of this procedure already. Change that one.",
            ),
            models.CheckConstraint(
                name="procedure_current_since", condition=Q(current=False) | Q(made_current_at__isnull=False)
            ),
            models.CheckConstraint(
                name="procedure_name_given",
                condition=~Q(name=""),
                violation_error_message="Give the procedure a name, such as Rebuild.",
            ),
        ]

    def __str__(self):
        return f"{self.name} version {self.version}"

    def get_absolute_url(self):
        return reverse("manage:procedure", args=[self.pk])

    @property
    def draft(self) -> bool:
        """Whether it was never current, so that it may still be changed."""
        return self.made_current_at is None

    def state(self) -> str:
        """In words: draft, current, or former."""
        if self.draft:
            return "draft"
        return "current" if self.current else "former"


# How a cap of each style is called inside a sentence.
CAP_IN_WORDS = {
    CapStyle.THREADED: "a threaded cap",
    CapStyle.RING: "a cap held by a ring",
    CapStyle.CLIP: "a cap held by a clip",
}


class Pressure(models.TextChoices):
    """What a step has to do with the stored gas."""

    PROVEN = "proven", "zero pressure is proven here"
    OPENED = "opened", "cap, ring or seal head is loosened here"


class Step(models.Model):
    procedure = models.ForeignKey(Procedure, models.CASCADE, related_name="steps")
    number = models.PositiveSmallIntegerField()
    stage = models.CharField(max_length=40)
    title = models.CharField(max_length=120)
    text = models.TextField("what to do", max_length=1000, blank=True)
    caution = models.TextField(max_length=600, blank=True)
    tool = models.CharField(
        "tools", max_length=120, blank=True, help_text="In words, beside the one that a reading is taken with."
    )
    reading = models.CharField(max_length=20, choices=SPECIFIED_CHOICES, blank=True, help_text="Figure to record here.")
    as_left = models.BooleanField(default=False, help_text="The settings as left are recorded here.")
    critical = models.BooleanField(default=False, help_text="A second person checks it.")
    pressure = models.CharField(
        max_length=6, choices=Pressure, blank=True, help_text="What the order of the steps hangs on."
    )
    constructions = models.JSONField(default=list, blank=True, help_text="Left out for all others. Empty: for all.")
    cap_styles = models.JSONField(default=list, blank=True, help_text="Left out for all others. Empty: for all.")
    origin = models.PositiveIntegerField(help_text="The same number in every version that has this step.")
    edition = models.PositiveIntegerField(default=1, help_text="The draft's edition in which it was last changed.")

    class Meta:
        ordering = ["procedure", "number"]
        constraints = [
            models.UniqueConstraint(name="step_number_once", fields=["procedure", "number"]),
            models.UniqueConstraint(name="step_origin_once", fields=["procedure", "origin"]),
            models.CheckConstraint(
                name="step_one_entry",
                condition=Q(reading="") | Q(as_left=False),
                violation_error_message="A step records a figure or the settings as left. Make two steps of it.",
            ),
            models.CheckConstraint(name="step_pressure_known", condition=Q(pressure__in=["", *Pressure.values])),
            models.CheckConstraint(
                name="step_proof_is_checked",
                condition=~Q(pressure=Pressure.PROVEN) | Q(critical=True, reading="", as_left=False),
                violation_error_message=(
                    "A step that proves zero pressure is critical and records nothing: all that comes after it waits "
                    "until a second person has checked it."
                ),
            ),
            models.CheckConstraint(
                name="step_of_a_cap_is_plain",
                condition=Q(cap_styles=[]) | Q(reading="", as_left=False, critical=False),
                violation_error_message=(
                    "A step for some caps only records nothing and has no second check: where nobody knows the cap "
                    "style, the technician may pass over it. Make two steps of it."
                ),
            ),
        ]

    def __str__(self):
        return f"{self.number}. {self.title}"

    def clean(self):
        for field, choices in (("constructions", Construction), ("cap_styles", CapStyle)):
            values = getattr(self, field)
            if not isinstance(values, list) or any(value not in choices.values for value in values):
                allowed = ", ".join(choices.values)
                raise refused(field, f"“{values}” is no list of: {allowed}.", "unknown")

    def holds_for(self, model: DamperModel) -> bool:
        """Whether such a damper has this step, or may have it: a cap style that nobody knows rules out nothing."""
        return (not self.constructions or model.construction in self.constructions) and (
            not self.cap_styles or not model.cap_style or model.cap_style in self.cap_styles
        )

    def doubt(self, model: DamperModel) -> str:
        """For which caps it is, when nobody knows what cap such a damper has; else empty."""
        return self.for_caps() if self.cap_styles and not model.cap_style else ""

    def for_caps(self) -> str:
        caps = [words for style, words in CAP_IN_WORDS.items() if style in self.cap_styles]
        return f"only for {' or '.join(caps)}" if caps else ""

    def only_for(self) -> str:
        """Its conditions in words; empty when every damper has it."""
        made = [label for value, label in Construction.choices if value in self.constructions]
        return "; ".join(filter(None, [f"only for: {' or '.join(made)}" if made else "", self.for_caps()]))
