from decimal import Decimal
from itertools import groupby

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
from shop.specs.parts_lists import as_seen, in_order, share_a_year
from shop.specs.services import add_kit_line, change_kit_line

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
        "added; one that is there is changed to what the file says. A part that may stand in for another comes below "
        "it, and such parts are offered in the order of the file, after those that are there."
    )
    belongs = {"damper_model": "damper_name", "measure": "amount", "rank": "stands_in_for"}
    columns = [
        *DAMPER_COLUMNS,
        Column("part_number", "Part number", "As the parts list prints it.", "SK-EXAMPLE", required=True),
        Column("name", "Name", "As the parts list prints it.", "seal kit 14 mm", required=True),
        Column(
            "amount", "Amount for one damper", f"With its unit: 2 pcs, 340 mL, 4 g, or “{BY_SHEET}”.", "1 pcs",
            required=True, read=read_amount,
        ),
        *YEAR_COLUMNS,
        Column(
            "optional", "Only if needed",
            "“yes” for a part that the inspection has to ask for; empty: as the book has it, or no.", "no",
            read=cells.yes_or_no,
        ),
        Column(
            "stands_in_for", "Stands in for",
            "The part number of the line whose place it may take, of the same model years; empty: a line of its own.",
        ),
    ]  # fmt: skip

    def __init__(self, by, at, file_name):
        super().__init__(by, at, file_name)
        self._models = DamperModels()
        self._last = {}  # damper model and part number -> key of the line that the file named last

    def prepare(self, batch):
        numbers = {given.get(name) for given in batch for name in ("part_number", "stands_in_for")} - {None}
        self._known = {}
        for line in KitLine.objects.filter(part_number__in=numbers).select_related("stands_in_for"):
            self._known[self._key(line)] = line

    @staticmethod
    def _key(line: KitLine) -> tuple:
        return line.damper_model_id, line.part_number, line.year_from, line.year_to

    def bring(self, given: Given) -> Outcome:
        model = self._models.get(given.values["damper_maker"], given.values["damper_name"])
        number = given.values["part_number"]
        years = {name: given.get(name) for name in ("year_from", "year_to")}
        line = self._known.get((model.pk, number, *years.values()))
        measure, amount = given.values["amount"]
        says = {
            "name": one_line(given.values["name"]), "measure": measure, "amount": amount,
            "optional": given.get("optional", line.optional if line else False),
            "stands_in_for": self._stands_in_for(given, model, years, line),
        }  # fmt: skip
        if line is None:
            outcome = Outcome.NEW
            line = add_kit_line(damper_model=model, part_number=number, **years, **says, by=self.by, at=self.at)
        elif all(getattr(line, name) == value for name, value in says.items()):
            outcome = Outcome.UNCHANGED
        else:
            outcome = Outcome.CHANGED
            self.check_first_mention(line, given)
            line = change_kit_line(
                line=line, part_number=number, **years, **says,
                rank=line.rank if says["stands_in_for"] == line.stands_in_for else None,
                seen=as_seen(model.kit_lines.all()), by=self.by, at=self.at,
            )  # fmt: skip
        self._known[self._key(line)] = line
        self._last[model.pk, number] = line.pk
        self.mentioned(line, given)
        return outcome

    def _stands_in_for(self, given: Given, model: DamperModel, years: dict, line: KitLine | None) -> KitLine | None:
        """The line that is named; of several of one number the one it stands in for, or the nearest above it."""
        if not given.says("stands_in_for"):
            return line.stands_in_for if line else None
        number = given.get("stands_in_for")
        if number is None:
            return None
        found = [
            one
            for one in self._known.values()
            if (one.damper_model_id, one.part_number) == (model.pk, number) and share_a_year(one, KitLine(**years))
        ]
        if not found:
            words = (
                f"{number} is not in the parts list of {model} for {years_in_words(**years)}. Bring that line in "
                f"first, or put it above this one.{near(number, model.kit_lines.values_list('part_number', flat=True))}"
            )
            raise ValidationError({"stands_in_for": words})
        has, last = line.stands_in_for_id if line else None, self._last.get((model.pk, number))
        return max(found, key=lambda one: (one.pk == has, one.stands_in_for_id is None, one.pk == last))

    @classmethod
    def rows(cls):
        lines = KitLine.objects.select_related("damper_model", "stands_in_for").order_by(
            "damper_model__maker", "damper_model__name", "damper_model_id", "pk"
        )
        for _, listed in groupby(lines.iterator(), key=lambda one: one.damper_model_id):
            yield from map(cls._told, in_order(listed))

    @staticmethod
    def _told(line: KitLine) -> dict[str, str]:
        return {
            "damper_maker": line.damper_model.maker, "damper_name": line.damper_model.name,
            "part_number": line.part_number, "name": line.name, "amount": write_amount(line),
            "year_from": str(line.year_from or ""), "year_to": str(line.year_to or ""),
            "optional": "yes" if line.optional else "no",
            "stands_in_for": line.stands_in_for.part_number if line.stands_in_for else "",
        }  # fmt: skip
