"""What a vehicle model carries, read as a table of model years by corner; and why it cannot be removed."""

from dataclasses import dataclass

from django.db.models import ProtectedError
from django.db.models.deletion import Collector

from shop.core.rows import names
from shop.customers.models import Vehicle, VehicleModel
from shop.dampers.models import Damper, DamperModel, Fitment, Position


@dataclass(frozen=True)
class Years:
    """Model years in a row that carry the same; year_to is None for the last of a vehicle model that is still built."""

    year_from: int
    year_to: int | None
    at: dict[Position, Fitment | None]

    @property
    def words(self) -> str:
        if self.year_to is None:
            return f"{self.year_from} on"
        return str(self.year_from) if self.year_from == self.year_to else f"{self.year_from} to {self.year_to}"

    @property
    def corners(self) -> list[tuple[str, Fitment | None]]:
        return [(position.label, fitment) for position, fitment in self.at.items()]

    @property
    def gap(self) -> str:
        """In a sentence, the corners of which nothing is entered; empty when all are."""
        unknown = [position.label for position, fitment in self.at.items() if fitment is None]
        if not unknown:
            return ""
        if len(unknown) == len(self.at):
            return f"{self.words}: nothing known at any corner."
        return f"{self.words}: nothing known at {' and '.join(filter(None, [', '.join(unknown[:-1]), unknown[-1]]))}."


def carried(model: VehicleModel) -> list[Years]:
    """Every model year in which it was built, years that carry the same drawn together. Needs its fitments."""
    fitments = list(model.fitments.all())
    begins = {model.year_from}
    begins |= {one.year_from for one in fitments} | {one.year_to + 1 for one in fitments if one.year_to}
    begins = sorted(year for year in begins if not model.year_to or year <= model.year_to)
    ends = [*[year - 1 for year in begins[1:]], model.year_to]
    return [
        Years(first, last, {position: _at(fitments, position, first) for position in Position})
        for first, last in zip(begins, ends, strict=True)
    ]


def _at(fitments: list[Fitment], position: Position, year: int) -> Fitment | None:
    """What sits at a corner in a model year."""
    there = (one for one in fitments if one.position == position)
    return next((one for one in there if one.year_from <= year and (not one.year_to or year <= one.year_to)), None)


@dataclass(frozen=True)
class Corner:
    """A corner of a vehicle: the damper that sits there, or else the model that should; neither is known: None."""

    position: Position
    model: DamperModel | None
    damper: Damper | None = None


def corners_of(model: VehicleModel | None, model_year: int | None, vehicle: Vehicle | None = None) -> list[Corner]:
    """The four corners of a vehicle of the book, or of one that is about to be entered; two queries."""
    there = {}
    if vehicle:
        model, model_year = vehicle.model, vehicle.model_year
        there = {damper.position: damper for damper in vehicle.dampers.select_related("model")}
    if not model or not model_year:
        return []
    fitments = list(model.fitments.select_related("damper_model"))
    found = []
    for position in Position:
        damper, fitment = there.get(position), _at(fitments, position, model_year)
        found.append(Corner(position, damper.model if damper else fitment and fitment.damper_model, damper))
    return found


def why_kept(model: VehicleModel) -> str:
    """What hangs on a vehicle model, in sentences that say why it cannot be removed; empty when nothing does."""
    try:
        Collector(using=model._state.db).collect([model])
    except ProtectedError as error:
        kinds: dict[str, list] = {}
        for row in sorted(error.protected_objects, key=lambda row: (row._meta.label, row.pk)):
            kinds.setdefault(row._meta.label, []).append(row)
        hanging = " and ".join(_counted(rows) for rows in kinds.values())
        return f"{model} cannot be removed, because of {hanging}. Only one that nothing hangs on can."
    return ""


def _counted(rows: list) -> str:
    """Rows of one kind: how many, and the first few by name."""
    meta = rows[0]._meta
    kind = meta.verbose_name if len(rows) == 1 else meta.verbose_name_plural
    return f"{len(rows)} {kind} ({names(rows, _short)})"


def _short(row) -> str:
    return f"{row.model_year} of {row.customer}" if isinstance(row, Vehicle) else str(row)
