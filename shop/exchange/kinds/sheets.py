from django.core.exceptions import ValidationError

from shop.core.amounts import altitude_unit, shop_unit
from shop.customers.models import VehicleModel
from shop.dampers.measures import QUANTITY, SPECIFIED, Measure
from shop.exchange import cells
from shop.exchange.kinds.customers import plain
from shop.exchange.kinds.kit_lines import DAMPER_COLUMNS, YEAR_COLUMNS, DamperModels
from shop.exchange.models import KindName
from shop.exchange.table import Column, Given, Kind, Outcome, near
from shop.specs.models import REFERENCE_ALTITUDE_M, REFERENCE_K, SheetPosition, SheetStatus, SpecSheet
from shop.specs.services import NewValue, enter_sheet

POSITIONS = {label: value for value, label in SheetPosition.choices}
EXAMPLES = {
    Measure.SHAFT_NUT_TORQUE: ("22 lbf·ft", "20.9 lbf·ft", "23.1 lbf·ft", "± 5 %"),
    Measure.CHARGE: ("100 psi", "95 psi", "105 psi", "± 5"),
    Measure.IFP_DEPTH: ("3.4 in", "3.37 in", "3.43 in", "± 0.03"),
    Measure.OIL_VOLUME: ("305 mL", "300 mL", "310 mL", "± 5"),
}
TEXTS = ("source_document", "source_revision", "source_page", "note")
DRAFT_IS_OTHER = "A draft of this code exists and says something else: change it on its page, or discard it."
VERIFIED_IS_OTHER = "That sheet is verified and stays as it is. Enter this as its next version, on its page."


def _figure_columns(measure: Measure) -> list[Column]:
    value, low, high, tolerance = EXAMPLES[measure]
    read = cells.quantity(QUANTITY[measure], above_zero=True)
    limit = cells.quantity(QUANTITY[measure])
    label = measure.label
    return [
        Column(measure.value, label, "As the source prints it, with its unit.", value, read=read),
        Column(f"{measure}_low", f"{label}, lowest", "Still in tolerance, with its unit.", low, read=limit),
        Column(f"{measure}_high", f"{label}, highest", "Still in tolerance, with its unit.", high, read=limit),
        Column(f"{measure}_tolerance", f"{label}, tolerance", "As the source prints it.", tolerance),
        Column(f"{measure}_page", f"{label}, page", "If it is another than the sheet's.", ""),
    ]


class Sheets(Kind):
    name = KindName.SHEETS
    one = "spec sheet"
    ability = "keep_specs"
    about = (
        "A sheet is found again by its code. One that is not there yet is entered as a DRAFT, whatever it was where "
        "the file comes from: a second person verifies it against the source, as always. A sheet that is there is "
        "never changed from a file."
    )
    belongs = {"damper_model": "damper_name", "vehicle_model": "vehicle_name", "keep_flagged": "sure", "code": "code"}
    columns = [
        Column("code", "Sheet code", "The shop's own name for it.", "H2-A", required=True),
        *DAMPER_COLUMNS,
        Column("vehicle_maker", "Vehicle maker", "Only if the sheet holds on one vehicle model alone.", "Ostrander"),
        Column("vehicle_name", "Vehicle model", "Only if the sheet holds on one vehicle model alone.", "Ridge 900"),
        Column("position", "Position", f"One of: {', '.join(POSITIONS)}.", "rear", required=True,
               read=cells.choice(POSITIONS)),
        *YEAR_COLUMNS,
        Column("source_document", "Document", "As its title page prints it.", "H2 service manual", required=True),
        Column("source_revision", "Revision", "Or its date.", "rev. C", required=True),
        Column("source_page", "Page", "Where the figures stand.", "p. 12", required=True),
        Column("note", "Note", "", ""),
        *(column for measure in SPECIFIED for column in _figure_columns(measure)),
        Column("reference_temperature", "Charge meant at", "A temperature; empty: 20 °C.", "68 °F",
               read=cells.quantity("temperature")),
        Column("reference_altitude", "Charge meant at altitude", "A height above the sea; empty: sea level.", "0 ft",
               read=cells.quantity("length", negative=True)),
        Column("sure", "Figures are sure", "“yes” for a sheet that the book doubts although its source says so.", "",
               read=cells.choice({"yes": True, "no": False})),
        Column("version", "Version", "Told only.", told_only=True),
        Column("status", "Status", "Told only: what comes in is a draft.", told_only=True),
    ]  # fmt: skip

    def __init__(self, by, at, file_name):
        super().__init__(by, at, file_name)
        self._models = DamperModels()
        self._vehicles = {}
        for one in VehicleModel.objects.order_by("-year_from"):
            self._vehicles.setdefault((one.maker.casefold(), one.name.casefold()), []).append(one)

    def prepare(self, batch):
        codes = {given.get("code", "") for given in batch}
        self._known = {}
        for sheet in _whole_sheets().filter(code__in=codes):
            self._known.setdefault(sheet.code, []).append(sheet)

    def bring(self, given: Given) -> Outcome:
        model, vehicle = self._asked(given)
        there = self._known.get(given.values["code"], [])
        found = [(sheet, self._differs(sheet, given, model, vehicle)) for sheet in there]
        if any(not differs for _, differs in found):
            return Outcome.UNCHANGED
        if found:
            sheet, differs = next((one for one in found if one[0].status == SheetStatus.DRAFT), found[0])
            where = DRAFT_IS_OTHER if sheet.status == SheetStatus.DRAFT else VERIFIED_IS_OTHER
            self.settle(sheet, given, differs, where)
        sure = given.get("sure", False)
        sheet = enter_sheet(
            code=given.values["code"], damper_model=model, vehicle_model=vehicle,
            position=given.values["position"], year_from=given.get("year_from"), year_to=given.get("year_to"),
            **{name: given.get(name, "") for name in TEXTS},
            reference_temperature=given.get("reference_temperature"),
            reference_altitude=given.get("reference_altitude"),
            values=self._values(given), keep_flagged=sure, sure=sure, by=self.by, at=self.at,
        )  # fmt: skip
        self._known.setdefault(sheet.code, []).append(_whole_sheets().get(pk=sheet.pk))
        self.wrote(sheet, given)
        return Outcome.NEW

    def place(self, field, sentence):
        """A figure is refused under "values", with its name at the beginning of the sentence."""
        if field == "values":
            return next((self.column(one.value) for one in SPECIFIED if sentence.startswith(one.label)), None)
        return super().place(field, sentence)

    def _asked(self, given: Given):
        wrong, model, vehicle = {}, None, None
        try:
            model = self._models.get(given.values["damper_maker"], given.values["damper_name"])
        except ValidationError as error:
            wrong |= error.message_dict
        maker, name = given.get("vehicle_maker", ""), given.get("vehicle_name", "")
        if maker or name:
            vehicle = self._vehicle(maker, name, given.get("year_from"))
            if vehicle is None:
                known = [str(found[0]) for found in self._vehicles.values()]
                wrong["vehicle_name"] = (
                    f"{maker} {name} is not in the catalogue. Enter it there first, if it is no slip of the keys."
                    f"{near(f'{maker} {name}', known)}"
                )
        if wrong:
            raise ValidationError(wrong)
        return model, vehicle

    def _vehicle(self, maker: str, name: str, year: int | None) -> VehicleModel | None:
        """Of several of one name, the one that was built in the first year of the sheet; else the newest."""
        found = self._vehicles.get((maker.casefold(), name.casefold()), [])
        built = [one for one in found if year and one.year_from <= year <= (one.year_to or year)]
        return next(iter(built or found), None)

    @staticmethod
    def _values(given: Given) -> list[NewValue]:
        """The figures of the line, or all that they lack."""
        values, wrong = [], {}
        for measure in SPECIFIED:
            names = (measure.value, f"{measure}_low", f"{measure}_high")
            entered, low, high = (given.get(name) for name in names)
            if not (entered or low or high):
                continue
            for name, there, what in zip(names, (entered, low, high), ("value", "lowest", "highest"), strict=True):
                if not there:
                    words = "the value itself" if what == "value" else f"the {what} value that is still in tolerance"
                    wrong[name] = f"{measure.label}: give {words}, with its unit."
            if entered and low and high:
                told = (given.get(f"{measure}_{name}", "") for name in ("tolerance", "page"))
                values.append(NewValue(measure.value, entered, low, high, *told))
        if wrong:
            raise ValidationError(wrong)
        return values

    def _differs(self, sheet: SpecSheet, given: Given, model, vehicle) -> dict[str, str]:
        """What a sheet of the book has where the line says something else."""
        told, differs = self._told(sheet), []
        if sheet.damper_model_id != model.pk:
            differs.append("damper_name")
        if sheet.vehicle_model_id != (vehicle.pk if vehicle else None):
            differs.append("vehicle_name")
        differs += [name for name in ("position", "year_from", "year_to") if given.get(name) != getattr(sheet, name)]
        differs += [name for name in TEXTS if given.says(name) and plain(told[name]) != given.get(name, "")]
        there = {one.measure: one for one in sheet.values.all()}
        for measure in SPECIFIED:
            one = there.get(measure.value)
            for part in ("value", "low", "high"):
                name = measure.value if part == "value" else f"{measure}_{part}"
                says = given.get(name)
                has = getattr(one, f"{part}_si") if one else None
                if not cells.same_figure(says.si if says else None, has):
                    differs.append(name)
            for part in ("tolerance", "page"):
                name = f"{measure}_{part}"
                if given.says(name) and plain(told.get(name, "")) != given.get(name, ""):
                    differs.append(name)
        temperature, height = given.get("reference_temperature"), given.get("reference_altitude")
        if not cells.same_figure(temperature.si if temperature else REFERENCE_K, sheet.reference_k):
            differs.append("reference_temperature")
        if abs((height.si if height else REFERENCE_ALTITUDE_M) - sheet.reference_altitude_m) > 1e-6:
            differs.append("reference_altitude")
        return {name: told.get(name, "") for name in differs}

    @classmethod
    def rows(cls):
        return map(cls._told, _whole_sheets().order_by("code", "version").iterator(chunk_size=200))

    @staticmethod
    def _told(sheet: SpecSheet) -> dict[str, str]:
        vehicle = sheet.vehicle_model
        told = {
            "code": sheet.code, "damper_maker": sheet.damper_model.maker, "damper_name": sheet.damper_model.name,
            "vehicle_maker": vehicle.maker if vehicle else "", "vehicle_name": vehicle.name if vehicle else "",
            "position": sheet.get_position_display(),
            "year_from": str(sheet.year_from or ""), "year_to": str(sheet.year_to or ""),
            **{name: getattr(sheet, name) for name in TEXTS},
            "reference_temperature": cells.exactly(sheet.reference_k, shop_unit("temperature")),
            "reference_altitude": cells.exactly(sheet.reference_altitude_m, altitude_unit()),
            "version": str(sheet.version),
            "status": "DRAFT" if sheet.status == SheetStatus.DRAFT else sheet.get_status_display(),
        }  # fmt: skip
        for one in sheet.values.all():
            told |= {
                one.measure: f"{one.figures} {one.unit}",
                f"{one.measure}_low": cells.exactly(one.low_si, one.unit),
                f"{one.measure}_high": cells.exactly(one.high_si, one.unit),
                f"{one.measure}_tolerance": one.tolerance,
                f"{one.measure}_page": one.page,
            }
        return told


def _whole_sheets():
    """Sheets that hold or may hold one day, with all that a line tells of them."""
    return (
        SpecSheet.objects.exclude(status=SheetStatus.WITHDRAWN)
        .select_related("damper_model", "vehicle_model")
        .prefetch_related("values")
    )
