from decimal import Decimal

from django.core.exceptions import ValidationError

from shop.calc.errors import CalcError
from shop.calc.units import unit
from shop.core.amounts import to_base_unit
from shop.core.rows import one_line
from shop.dampers.models import DamperModel
from shop.exchange import cells
from shop.exchange.models import KindName
from shop.exchange.table import Column, Given, Kind, Outcome, near
from shop.specs.models import KitLine, KitMeasure, years_in_words
from shop.specs.services import add_kit_line

BY_SHEET = "oil volume of the spec sheet"
# How a whole number of base units is written: in this unit, so many base units of it.
WRITTEN_IN = {KitMeasure.COUNT: ("pcs", 1), KitMeasure.VOLUME: ("mL", 1000), KitMeasure.MASS: ("g", 1000)}


def read_amount(cell: str, header: str) -> tuple[str, int | None]:
    """An amount with its unit, which says how it is measured: "2 pcs", "340 mL", "4 g", or that the sheet gives it."""
    if cell.casefold() == BY_SHEET:
        return KitMeasure.VOLUME.value, None
    allowed = f"Write it like 2 pcs, 340 mL, 4 g, or “{BY_SHEET}”."
    word = cell.lstrip("0123456789.,/ \u00a0").strip()
    try:
        measure = unit(word).quantity if word else ""
    except CalcError:
        measure = ""
    if measure not in KitMeasure.values:
        raise ValidationError(f"“{cells.shortened(cell)}” is no amount with a unit. {allowed}")
    found = cells.entered(cell, header, measure, above_zero=True, unit="pcs" if measure == KitMeasure.COUNT else None)
    if measure == KitMeasure.COUNT and not found.value.is_integer():
        raise ValidationError(f"{found} is no whole number of pieces. {allowed}")
    return measure, to_base_unit(found.si, measure)


def write_amount(line: KitLine) -> str:
    if line.amount is None:
        return BY_SHEET
    symbol, size = WRITTEN_IN[KitMeasure(line.measure)]
    return f"{(Decimal(line.amount) / size).normalize():f} {symbol}"


class DamperModels:
    """The damper models of the catalogue, by the names that a file gives them.

    All are locked before the first row, in the order of their keys: a file names them in any order, and somebody else
    who works on two of them would wait for it in a circle.
    """

    def __init__(self):
        rows = DamperModel.objects.select_for_update(no_key=True).order_by("pk")
        self._rows = {(row.maker.casefold(), row.name.casefold()): row for row in rows}

    def get(self, maker: str, name: str) -> DamperModel:
        if row := self._rows.get((maker.casefold(), name.casefold())):
            return row
        hint = near(f"{maker} {name}", [str(one) for one in self._rows.values()])
        words = f"{maker} {name} is not in the catalogue. Enter it there first, if it is no slip of the keys.{hint}"
        raise ValidationError({"damper_name": words})


DAMPER_COLUMNS = [
    Column("damper_maker", "Damper maker", "As it is in the catalogue.", "Hallinde", required=True),
    Column("damper_name", "Damper model", "As it is in the catalogue.", "H2", required=True),
]
YEAR_COLUMNS = [
    Column("year_from", "From model year", "Empty: from the first.", "2015", read=cells.year),
    Column("year_to", "To model year", "Empty: to the last.", "", read=cells.year),
]


class KitLines(Kind):
    name = KindName.KIT_LINES
    one = "line of a parts list"
    ability = "keep_specs"
    about = (
        "A line is found again by the damper model, the part number and the model years. One that is not there yet is "
        "added; one that is there with another name or amount is told, and changed on the page of the damper model."
    )
    belongs = {"damper_model": "damper_name", "measure": "amount"}
    columns = [
        *DAMPER_COLUMNS,
        Column("part_number", "Part number", "As the parts list prints it.", "SK-EXAMPLE", required=True),
        Column("name", "Name", "As the parts list prints it.", "seal kit 14 mm", required=True),
        Column(
            "amount", "Amount for one damper", f"With its unit: 2 pcs, 340 mL, 4 g, or “{BY_SHEET}”.", "1 pcs",
            required=True, read=read_amount,
        ),
        *YEAR_COLUMNS,
    ]  # fmt: skip

    def __init__(self, by, at, file_name):
        super().__init__(by, at, file_name)
        self._models = DamperModels()

    def prepare(self, batch):
        numbers = {given.get("part_number", "") for given in batch}
        self._known = {}
        for line in KitLine.objects.filter(part_number__in=numbers).select_related("damper_model"):
            self._known[self._key(line)] = line

    @staticmethod
    def _key(line: KitLine) -> tuple:
        return line.damper_model_id, line.part_number, line.year_from, line.year_to

    def bring(self, given: Given) -> Outcome:
        model = self._models.get(given.values["damper_maker"], given.values["damper_name"])
        measure, amount = given.values["amount"]
        years = {name: given.get(name) for name in ("year_from", "year_to")}
        if line := self._known.get((model.pk, given.values["part_number"], *years.values())):
            says = {"name": one_line(given.values["name"]), "amount": (measure, amount)}
            has = {"name": line.name, "amount": (line.measure, line.amount)}
            told = self._told(line)
            if differs := {name: told[name] for name in says if says[name] != has[name]}:
                where = (
                    f"That line is for {years_in_words(*years.values())}: change it on the page of {model}, or here."
                )
                self.settle(line, given, differs, where)
            return Outcome.UNCHANGED
        line = add_kit_line(
            damper_model=model, part_number=given.values["part_number"], name=given.values["name"],
            measure=measure, amount=amount, **years, by=self.by, at=self.at,
        )  # fmt: skip
        self._known[self._key(line)] = line
        self.wrote(line, given)
        return Outcome.NEW

    @classmethod
    def rows(cls):
        lines = KitLine.objects.select_related("damper_model").order_by(
            "damper_model__maker", "damper_model__name", "pk"
        )
        return map(cls._told, lines.iterator())

    @staticmethod
    def _told(line: KitLine) -> dict[str, str]:
        return {
            "damper_maker": line.damper_model.maker, "damper_name": line.damper_model.name,
            "part_number": line.part_number, "name": line.name, "amount": write_amount(line),
            "year_from": str(line.year_from or ""), "year_to": str(line.year_to or ""),
        }  # fmt: skip
