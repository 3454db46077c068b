"""The spec table's search: words and a model year in one line, "H2 2015 rear"."""

from dataclasses import dataclass

from django.db.models import Exists, IntegerField, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce

from shop.customers.models import MODEL_YEARS
from shop.dampers.models import Fitment
from shop.specs.models import SheetPosition, SheetStatus, SpecSheet

COLUMNS = ["code", "damper_model__maker", "damper_model__name", "source_document"]
VEHICLE = ["vehicle_model__maker", "vehicle_model__name"]


@dataclass(frozen=True)
class Asked:
    """What a search line asks for: model years, in which a sheet has to hold, and words, each found somewhere."""

    years: list[int]
    words: list[str]

    @classmethod
    def of(cls, text: str) -> "Asked":
        words = text.split()
        years = [word for word in words if _is_year(word)]
        return cls([int(year) for year in years], [word for word in words if word not in years])

    def said(self) -> str:
        """What the model years did: "holding in 2015"; empty without one."""
        return f"holding in {' and in '.join(map(str, self.years))}" if self.years else ""


def _is_year(word: str) -> bool:
    return len(word) == 4 and word.isascii() and word.isdigit() and MODEL_YEARS[0] <= int(word) <= MODEL_YEARS[1]


def find_sheets(asked: Asked, status: str = ""):
    """Sheets that hold in every model year asked for and have every word, in the order of the spec table.

    A vehicle's maker or name also finds the sheets for whatever vehicle of the dampers that it carries.
    """
    rows = SpecSheet.objects.filter(status=status) if status else SpecSheet.objects.all()
    for year in asked.years:
        rows = rows.filter(
            Q(year_from=None) | Q(year_from__lte=year),
            Q(year_to=None) | Q(year_to__gte=year),
        )
    for word in asked.words:
        rows = rows.filter(_having(word))
    return rows.select_related("damper_model", "vehicle_model").prefetch_related("values")


def waiting():
    """Drafts that nobody has verified yet, the one that waits longest first."""
    return SpecSheet.objects.filter(status=SheetStatus.DRAFT).order_by("entered_at", "pk")


def with_rival(sheets):
    """Each with rival: the key of a verified sheet of the same rank that shares a model year, None without one.

    The sheet that it replaces is no rival: that one makes way when this one is verified.
    """
    rivals = SpecSheet.objects.alias(
        first=_or("year_from", 0), last=_or("year_to", MODEL_YEARS[1]), vehicle=_or("vehicle_model_id", 0)
    ).filter(
        ~Q(pk=OuterRef("pk")),
        ~Q(pk=_or(OuterRef("replaces_id"), 0)),
        status=SheetStatus.VERIFIED,
        damper_model=OuterRef("damper_model"),
        vehicle=_or(OuterRef("vehicle_model_id"), 0),
        position=OuterRef("position"),
        first__lte=_or(OuterRef("year_to"), MODEL_YEARS[1]),
        last__gte=_or(OuterRef("year_from"), 0),
    )
    return sheets.annotate(rival=Subquery(rivals.values("pk")[:1]))


def rival_of(sheet: SpecSheet) -> SpecSheet | None:
    """A verified sheet because of which this one cannot be verified."""
    asked = with_rival(SpecSheet.objects.filter(pk=sheet.pk))
    return SpecSheet.objects.filter(pk__in=asked.values("rival")).first()


def _or(column, otherwise: int) -> Coalesce:
    return Coalesce(column, otherwise, output_field=IntegerField())


def _having(word: str) -> Q:
    found = Q(position__in=[one for one in SheetPosition if word.casefold() in one.label.split()])
    for column in COLUMNS + VEHICLE:
        found |= Q(**{f"{column}__icontains": word})
    carried = Fitment.objects.filter(
        Q(**{f"{VEHICLE[0]}__icontains": word}) | Q(**{f"{VEHICLE[1]}__icontains": word}),
        damper_model=OuterRef("damper_model"),
    )
    return found | Q(Exists(carried), vehicle_model=None)
