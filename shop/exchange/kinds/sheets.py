from django.core.exceptions import ValidationError

from shop.calc.errors import CalcError
from shop.calc.tolerance import EXAMPLES as TOLERANCES
from shop.calc.tolerance import limits
from shop.calc.units import Entered
from shop.core.amounts import altitude_unit, shop_unit
from shop.customers.models import VehicleModel
from shop.dampers.measures import QUANTITY, SPECIFIED, Measure
from shop.exchange import cells
from shop.exchange.kinds.customers import plain
from shop.exchange.kinds.kit_lines import DAMPER_COLUMNS, YEAR_COLUMNS, DamperModels
from shop.exchange.models import KindName
from shop.exchange.table import Column, Given, Kind, Outcome, near
from shop.specs.models import REFERENCE_ALTITUDE_M, REFERENCE_K, SheetPosition, SheetStatus, SpecSheet
from shop.specs.services import NewValue, change_draft, enter_sheet
from shop.specs.services.stored import reference_of, values_of

POSITIONS = {label: value for value, label in SheetPosition.choices}
EXAMPLES = {
    Measure.SHAFT_NUT_TORQUE: ("22 lbf·ft", "20.9 lbf·ft", "23.1 lbf·ft", "± 5 %"),
    Measure.CHARGE: ("100 psi", "95 psi", "105 psi", "± 5"),
    Measure.IFP_DEPTH: ("3.4 in", "3.37 in", "3.43 in", "± 0.03"),
    Measure.OIL_VOLUME: ("305 mL", "300 mL", "310 mL", "± 5"),
}
PARTS = ("low", "high", "tolerance", "page", "note")
TEXTS = ("source_document", "source_revision", "source_page", "note")
DRAFT_KEEPS_DAMPER = "A draft keeps its damper model: discard it on its page, or give this sheet another code."
VERIFIED_IS_OTHER = "That sheet is verified and stays as it is. Enter this as its next version, on its page."


def _figure_columns(measure: Measure) -> list[Column]:
    value, low, high, tolerance = EXAMPLES[measure]
    read = cells.quantity(QUANTITY[measure], above_zero=True)
    limit = cells.quantity(QUANTITY[measure])
    allowed = "Still in tolerance, with its unit; empty: as the tolerance says."
    label = measure.label
    return [
        Column(measure.value, label, "As the source prints it, with its unit.", value, read=read),
        Column(f"{measure}_low", f"{label}, lowest", allowed, low, read=limit),
        Column(f"{measure}_high", f"{label}, highest", allowed, high, read=limit),
        Column(f"{measure}_tolerance", f"{label}, tolerance", "As the source prints it.", tolerance),
        Column(f"{measure}_page", f"{label}, page", "If it is another than the sheet's.", ""),
        Column(f"{measure}_note", f"{label}, note", "", ""),
    ]


class Sheets(Kind):
    name = KindName.SHEETS
    one = "spec sheet"
    ability = "keep_specs"
    about = (
        "A sheet is found again by its code. One that is not there yet is entered as a DRAFT, whatever it was where "
        "the file comes from: a second person verifies it against the source, as always. A draft that is there is "
        "changed to what the file says, and what it said before stays readable. A verified sheet is never changed."
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
               read=cells.yes_or_no),
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
        # A line is about the draft of its code; about a verified sheet when there is none, or when it says the same.
        draft = next((one for one in there if one.status == SheetStatus.DRAFT), None)
        for sheet in there:
            if not self._differs(sheet, given, model, self._says(given, vehicle, sheet)):
                self.mentioned(sheet, given)
                return Outcome.UNCHANGED
        says = self._says(given, vehicle, draft)
        sure = given.get("sure", False)
        answers = {"keep_flagged": sure, "sure": sure, "by": self.by, "at": self.at}
        if draft:
            if draft.damper_model_id != model.pk:
                self.settle(draft, given, {"damper_name": draft.damper_model.name}, DRAFT_KEEPS_DAMPER)
            self.check_first_mention(draft, given)
            sheet = change_draft(sheet=draft, edition=draft.edition, why=self.origin(given), **says, **answers)
            outcome = Outcome.CHANGED
        elif there:
            sheet = there[0]
            differs = self._differs(sheet, given, model, self._says(given, vehicle, sheet))
            self.settle(sheet, given, differs, VERIFIED_IS_OTHER)
        else:
            sheet = enter_sheet(code=given.values["code"], damper_model=model, **says, **answers)
            outcome = Outcome.NEW
        others = [one for one in there if one.pk != sheet.pk]
        self._known[sheet.code] = [*others, _whole_sheets().get(pk=sheet.pk)]
        self.mentioned(sheet, given)
        return outcome

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

    def _says(self, given: Given, vehicle: VehicleModel | None, sheet: SpecSheet | None) -> dict:
        """All that the line says, as a service takes it, and what the sheet has where the file has no column."""

        def said(name, empty):
            return given.get(name, empty) if given.says(name) or sheet is None else getattr(sheet, name)

        names = ("reference_temperature", "reference_altitude")
        reference = reference_of(sheet) if sheet else dict.fromkeys(names)
        return {
            "vehicle_model": vehicle if given.says("vehicle_name") or sheet is None else sheet.vehicle_model,
            "position": given.values["position"],
            **{name: said(name, None) for name in ("year_from", "year_to")},
            **{name: said(name, "") for name in TEXTS},
            **{name: given.get(name) if given.says(name) else one for name, one in reference.items()},
            "values": self._values(given, sheet),
        }

    @staticmethod
    def _values(given: Given, sheet: SpecSheet | None) -> list[NewValue]:
        """The figures of the line, or all that they lack."""
        has = {one.measure: one for one in values_of(sheet)} if sheet else {}
        values, wrong = [], {}
        for measure in SPECIFIED:
            known = has.get(measure.value)
            if not any(given.get(name) for name in (measure.value, *(f"{measure}_{part}" for part in PARTS))):
                if known and not given.says(measure.value):
                    values.append(known)
                continue
            entered = given.get(measure.value)
            if not entered:
                wrong[measure.value] = f"{measure.label}: give the value itself, with its unit."
                continue
            told = {}
            for part in ("tolerance", "page", "note"):
                name = f"{measure}_{part}"
                told[part] = given.get(name, "") if given.says(name) or known is None else getattr(known, part)
            ends = {part: given.get(f"{measure}_{part}") for part in ("low", "high")}
            try:
                values.append(
                    NewValue(measure.value, entered, *_limits(measure, entered, told["tolerance"], **ends), **told)
                )
            except ValidationError as error:
                wrong |= {f"{measure}_{part}": sentences for part, sentences in error.message_dict.items()}
        if wrong:
            raise ValidationError(wrong)
        return values

    def _differs(self, sheet: SpecSheet, given: Given, model, says: dict) -> dict[str, str]:
        """What a sheet of the book has where the line says something else."""
        told, differs = self._told(sheet), []
        if sheet.damper_model_id != model.pk:
            differs.append("damper_name")
        if sheet.vehicle_model != says["vehicle_model"]:
            differs.append("vehicle_name")
        differs += [name for name in ("position", "year_from", "year_to") if says[name] != getattr(sheet, name)]
        differs += [name for name in TEXTS if plain(told[name]) != plain(says[name])]
        there, here = ({one.measure: one for one in values} for values in (values_of(sheet), says["values"]))
        for measure in SPECIFIED:
            has, new = there.get(measure.value), here.get(measure.value)
            for part in ("entered", "low", "high"):
                one, other = (getattr(value, part).si if value else None for value in (has, new))
                if not cells.same_figure(one, other):
                    differs.append(measure.value if part == "entered" else f"{measure}_{part}")
            if has and new:
                differs += [
                    f"{measure}_{part}"
                    for part in ("tolerance", "page", "note")
                    if plain(getattr(has, part)) != plain(getattr(new, part))
                ]
        temperature, height = says["reference_temperature"], says["reference_altitude"]
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
                f"{one.measure}_note": one.note,
            }
        return told


def _limits(
    measure: Measure, entered: Entered, tolerance: str, low: Entered | None, high: Entered | None
) -> tuple[Entered, Entered]:
    """Lowest and highest as the line gives them; those that it leaves out as the tolerance prints them."""
    if low and high:
        return low, high
    label = measure.label
    if tolerance:
        try:
            printed = limits(entered, tolerance, QUANTITY[measure], f"{label}, tolerance")
        except CalcError as error:
            raise ValidationError({"tolerance": f"{error} Or give lowest and highest."}) from None
        return low or printed[0], high or printed[1]
    if not (low or high):
        words = f"{label}: give the tolerance as printed, such as {TOLERANCES}, or lowest and highest with their units."
        raise ValidationError({"tolerance": words})
    part, word = ("high", "highest") if low else ("low", "lowest")
    raise ValidationError({part: f"{label}: give the {word} value that is still in tolerance, with its unit."})


def _whole_sheets():
    """Sheets that hold or may hold one day, with all that a line tells of them."""
    return (
        SpecSheet.objects.exclude(status=SheetStatus.WITHDRAWN)
        .select_related("damper_model", "vehicle_model")
        .prefetch_related("values")
    )
