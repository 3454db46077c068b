"""Which model years and corners of a damper model the spec table covers, and which dampers it leaves out."""

from dataclasses import dataclass
from itertools import groupby

from django.db.models import Count, Q

from shop.customers.models import VehicleModel
from shop.dampers.models import Damper, DamperModel, Fitment, Position
from shop.specs.models import SheetPosition, SheetStatus, SpecSheet
from shop.specs.parts_lists import covers
from shop.specs.selectors import Place, covering, rank, sheets_for

ENDS = [
    (SheetPosition.FRONT, (Position.FRONT_LEFT, Position.FRONT_RIGHT)),
    (SheetPosition.REAR, (Position.REAR_LEFT, Position.REAR_RIGHT)),
]


@dataclass(frozen=True)
class Cell:
    """One corner in one model year: the sheet for whatever vehicle, and the verified ones for single vehicle models.

    fitted: the catalogue or the book knows the damper at this corner. gap: it is fitted, and on some vehicle, or loose,
    no verified sheet holds for it.
    """

    sheet: SpecSheet | None
    on_vehicles: tuple[SpecSheet, ...]
    fitted: bool
    gap: bool

    @property
    def draft(self) -> bool:
        return self.sheet is not None and self.sheet.status == SheetStatus.DRAFT


@dataclass(frozen=True)
class Column:
    """Corners that have the same sheets in every year: one of them, an end, or all four."""

    position: SheetPosition
    corners: tuple[Position, ...]
    cells: tuple[Cell, ...]  # by year

    @property
    def label(self) -> str:
        return "every position" if self.position == SheetPosition.ANY else self.position.label


@dataclass(frozen=True)
class Row:
    """Model years in a row in which nothing changes. A cell comes with how many rows it spans, where it begins."""

    first: int
    last: int
    cells: list[tuple[Cell, int]]

    @property
    def years(self) -> str:
        return in_words(self.first, self.last)


@dataclass(frozen=True)
class Gap:
    """Model years in a row for which no verified sheet holds at a place, and how many dampers in the book have them."""

    first: int
    last: int
    place: str
    position: SheetPosition
    dampers: int
    draft: SpecSheet | None = None

    @property
    def words(self) -> str:
        lacks = f"no verified sheet, only the draft {self.draft}" if self.draft else "no verified sheet"
        years = "this year" if self.first == self.last else "these years"
        if self.dampers == 1:
            told = f"1 damper in the book has {years}"
        else:
            told = f"{self.dampers or 'no'} dampers in the book have {years}"
        return f"{in_words(self.first, self.last)}, {self.place}: {lacks}; {told}."


@dataclass(frozen=True)
class Coverage:
    damper_model: DamperModel
    columns: list[Column]
    rows: list[Row]
    gaps: list[Gap]


@dataclass(frozen=True)
class Standing:
    """A damper model in the overview. uncovered: dampers in the book for which no verified sheet holds, of how many."""

    damper_model: DamperModel
    verified: int
    drafts: int
    uncovered: int
    dampers: int


def coverage_of(damper_model: DamperModel, this_year: int) -> Coverage:
    """Year by year and corner by corner, from the first year that a fitment, a damper or a sheet names to the last.

    What is open towards the future is followed to the year after this one. Constant number of queries.
    """
    fitments = list(damper_model.fitments.select_related("vehicle_model"))
    sheets = list(
        damper_model.sheets.exclude(status=SheetStatus.WITHDRAWN).select_related("damper_model", "vehicle_model")
    )
    book = _book(Q(model=damper_model))
    years = _years(fitments, sheets, book, this_year)
    cells = _cells(damper_model, years, fitments, sheets, book)
    columns = _columns(cells)
    return Coverage(damper_model, columns, _rows(years, columns), _gaps(years, columns, book))


def overview() -> list[Standing]:
    """All damper models, those first whose dampers in the book lack a verified sheet; constant number of queries."""
    models = DamperModel.objects.annotate(
        verified=Count("sheets", Q(sheets__status=SheetStatus.VERIFIED)),
        drafts=Count("sheets", Q(sheets__status=SheetStatus.DRAFT)),
    ).order_by("maker", "name")
    dampers: dict[int, list[_Known]] = {}
    for one in _book(Q(model__serviceable=True)):
        dampers.setdefault(one.place.damper_model.pk, []).append(one)
    standing = [
        Standing(
            damper_model=model,
            verified=model.verified,
            drafts=model.drafts,
            uncovered=sum(one.count for one in dampers.get(model.pk, []) if not one.covered),
            dampers=sum(one.count for one in dampers.get(model.pk, [])),
        )
        for model in models
    ]
    return sorted(standing, key=lambda one: -one.uncovered)


def in_words(first: int, last: int) -> str:
    """Model years in a row: "2013", "2013 and 2014", "2013 to 2016"."""
    if first == last:
        return str(first)
    return f"{first} and {last}" if last == first + 1 else f"{first} to {last}"


@dataclass(frozen=True)
class _Known:
    """Dampers in the book at the same place: how many, and whether a verified sheet holds for them."""

    place: Place
    count: int
    covered: bool


def _book(which: Q) -> list[_Known]:
    rows = list(
        Damper.objects.filter(which)
        .values("model", "model_year", "position", "vehicle__model")
        .annotate(count=Count("pk"))
        .order_by("model", "model_year", "position", "vehicle__model")
    )
    models = DamperModel.objects.in_bulk({row["model"] for row in rows})
    vehicle_models = VehicleModel.objects.in_bulk({row["vehicle__model"] for row in rows if row["vehicle__model"]})
    places = [
        Place(models[row["model"]], row["model_year"], row["position"], vehicle_models.get(row["vehicle__model"]))
        for row in rows
    ]
    return [
        _Known(place, row["count"], bool(found.sheet) and found.sheet.status == SheetStatus.VERIFIED)
        for place, row, found in zip(places, rows, sheets_for(places), strict=True)
    ]


def _years(fitments: list[Fitment], sheets: list[SpecSheet], book: list[_Known], this_year: int) -> range:
    spans = [(one.year_from, one.year_to) for one in [*fitments, *sheets]]
    named = [year for span in spans for year in span if year] + [one.place.model_year for one in book]
    if any(last is None for _, last in spans):
        named.append(this_year + 1)
    return range(min(named), max(named) + 1) if named else range(0)


def _cells(damper_model, years, fitments, sheets, book) -> dict[Position, tuple[Cell, ...]]:
    """The cells of each corner, by year."""
    known_at = {one.position for one in fitments} | {one.place.position for one in book}
    corners = {corner for corner in Position if corner in known_at} or set(Position)
    wanted = corners if damper_model.serviceable else set()
    places = [Place(damper_model, year, corner) for corner in Position for year in years]
    found = {
        (place.position, place.model_year): one.sheet for place, one in zip(places, sheets_for(places), strict=True)
    }
    verified = [one for one in sheets if one.vehicle_model and one.status == SheetStatus.VERIFIED]

    def cell(corner, year):
        sheet, special = found[corner, year], _on_vehicles(verified, corner, year)
        fitted_on = {one.vehicle_model for one in fitments if one.position == corner and covers(one, year)}
        served = bool(fitted_on) and fitted_on <= {one.vehicle_model for one in special}
        holds = sheet is not None and sheet.status == SheetStatus.VERIFIED
        return Cell(sheet, special, corner in corners, corner in wanted and not holds and not served)

    return {corner: tuple(cell(corner, year) for year in years) for corner in Position}


def _on_vehicles(sheets: list[SpecSheet], corner: str, year: int) -> tuple[SpecSheet, ...]:
    """Of sheets for single vehicle models the one that holds here for each."""
    best: dict[VehicleModel, SpecSheet] = {}
    for sheet in sheets:
        if covers(sheet, year) and sheet.position in covering(corner):
            rival = best.get(sheet.vehicle_model)
            best[sheet.vehicle_model] = max(sheet, rival, key=rank) if rival else sheet
    return tuple(sorted(best.values(), key=lambda one: str(one.vehicle_model)))


def _columns(cells: dict[Position, tuple[Cell, ...]]) -> list[Column]:
    if len(set(cells.values())) == 1:
        return [Column(SheetPosition.ANY, tuple(Position), cells[Position.FRONT_LEFT])]
    columns = []
    for end, (left, right) in ENDS:
        if cells[left] == cells[right]:
            columns.append(Column(end, (left, right), cells[left]))
        else:
            columns += [Column(SheetPosition(corner.value), (corner,), cells[corner]) for corner in (left, right)]
    return columns


def _rows(years: range, columns: list[Column]) -> list[Row]:
    """Rows break where any column changes; a cell that goes on spans the rows."""
    breaks = [
        number
        for number in range(len(years))
        if number == 0 or any(column.cells[number] != column.cells[number - 1] for column in columns)
    ]
    rows = []
    for index, start in enumerate(breaks):
        end = breaks[index + 1] if index + 1 < len(breaks) else len(years)
        begun = []
        for column in columns:
            if start and column.cells[start] == column.cells[start - 1]:
                continue
            same = (here for here in breaks[index:] if column.cells[here] != column.cells[start])
            stop = next(same, None)
            begun.append((column.cells[start], (breaks.index(stop) if stop is not None else len(breaks)) - index))
        rows.append(Row(years[start], years[end - 1], begun))
    return rows


def _gaps(years: range, columns: list[Column], book: list[_Known]) -> list[Gap]:
    """Gaps of the picture, then dampers in the book that none of these explains: of unknown position, or on a vehicle
    for which nothing holds although the corner is served on others."""
    uncovered = [one for one in book if not one.covered and one.place.damper_model.serviceable]
    gaps = []
    explained: list[_Known] = []
    for column in columns:
        for (gap, sheet), run in groupby(
            zip(years, column.cells, strict=True), key=lambda pair: (pair[1].gap, pair[1].sheet)
        ):
            run_years = [year for year, _ in run]
            if not gap:
                continue
            here = [
                one for one in uncovered if one.place.position in column.corners and one.place.model_year in run_years
            ]
            explained += here
            gaps.append(
                Gap(run_years[0], run_years[-1], column.label, column.position, sum(one.count for one in here), sheet)
            )
    others = [one for one in uncovered if one not in explained]
    gaps += [
        Gap(one.place.model_year, one.place.model_year, _where(one.place), _position(one.place), one.count)
        for one in others
    ]
    return gaps


def _where(place: Place) -> str:
    where = Position(place.position).label if place.position else "position not known"
    return f"{where}, on {place.vehicle_model}" if place.vehicle_model else where


def _position(place: Place) -> SheetPosition:
    return SheetPosition(place.position) if place.position else SheetPosition.ANY
