from django.core.exceptions import ValidationError

from shop.core.rows import one_line
from shop.exchange import cells
from shop.exchange.models import KindName
from shop.exchange.table import Column, Given, Kind, Outcome
from shop.parts.models import Part
from shop.parts.services import NewPart, create_part, create_parts
from shop.specs.models import KitMeasure

MEASURED = {label: value for value, label in KitMeasure.choices}


class Parts(Kind):
    name = KindName.PARTS
    one = "stock item"
    ability = "keep_stock"
    about = (
        "A stock item is found again by its part number. One that is not there yet is entered, with nothing on hand; "
        "one that is there with other words is told, and changed on its own page."
    )
    columns = [
        Column("number", "Part number", "As the parts lists of the dampers name it.", "SK-EXAMPLE", required=True),
        Column("name", "Name", "What it is.", "seal kit 14 mm", required=True),
        Column(
            "measure", "Measured in", f"One of: {', '.join(MEASURED)}.", "pieces",
            required=True, read=cells.choice(MEASURED),
        ),
        Column("bin", "Bin", "Where it lies.", "B-07"),
    ]  # fmt: skip

    def prepare(self, batch):
        numbers = {given.get("number", "") for given in batch}
        self._known = {part.number: part for part in Part.objects.filter(number__in=numbers)}

    def enter_together(self, batch):
        new = {}
        for given in batch:
            if given.values["number"] not in self._known:
                new.setdefault(given.values["number"], given)
        if not new:
            return set()
        try:
            parts = create_parts(
                new=[NewPart(**self._says(given), origin=self.origin(given)) for given in new.values()],
                by=self.by,
                at=self.at,
            )
        except ValidationError:  # which of them and why, is told when they come singly
            return set()
        for part, given in zip(parts, new.values(), strict=True):
            self._known[part.number] = part
            self.mentioned(part, given)
        return {given.line for given in new.values()}

    def bring(self, given: Given) -> Outcome:
        number = given.values["number"]
        if part := self._known.get(number):
            if differs := self._differs(part, given):
                self.settle(part, given, differs, "Change it on the page of the stock item, or here.")
            return Outcome.UNCHANGED
        part = create_part(**self._says(given), by=self.by, at=self.at)
        self._known[part.number] = part
        self.mentioned(part, given)
        return Outcome.NEW

    @staticmethod
    def _says(given: Given) -> dict[str, str]:
        return {name: given.get(name, "") for name in ("number", "name", "measure", "bin")}

    def _differs(self, part: Part, given: Given) -> dict[str, str]:
        """What the book has where the line says something else."""
        has = self._told(part)
        says = {"name": one_line(given.values["name"]), "measure": KitMeasure(given.values["measure"]).label}
        if given.says("bin"):
            says["bin"] = given.get("bin", "")
        return {name: has[name] for name, word in says.items() if word != has[name]}

    @classmethod
    def rows(cls):
        return map(cls._told, Part.objects.order_by("number").iterator())

    @staticmethod
    def _told(part: Part) -> dict[str, str]:
        return {"number": part.number, "name": part.name, "measure": part.get_measure_display(), "bin": part.bin}
