from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.db.models.functions import Lower

from shop.customers.models import Customer, Vehicle, VehicleModel
from shop.customers.services import create_vehicle, mark_sold
from shop.exchange import cells
from shop.exchange.kinds.customers import digits, plain
from shop.exchange.models import KindName
from shop.exchange.table import Column, Given, Kind, Outcome, near
from shop.workorders.services import change_vehicle

HOW = "as a file says"


class Vehicles(Kind):
    name = KindName.VEHICLES
    one = "vehicle"
    ability = "keep_customers"
    about = (
        "A vehicle is found again by its VIN or frame number; without one, among those of its customer by the plate, "
        "and without that too by model and model year. One that is not there yet is entered; one that is there is "
        "changed to what the file says. Bring the customers in first."
    )
    belongs = {"customer": "customer_name"}
    columns = [
        Column("customer_name", "Customer", "The name as it is in the book.", "Ines Calloway", required=True),
        Column("customer_email", "Customer's e-mail", "To tell customers of one name apart.", "ines@example.com"),
        Column("customer_phone", "Customer's phone", "To tell customers of one name apart.", "555-0142"),
        Column("maker", "Maker", "As it is in the catalogue.", "Ostrander", required=True),
        Column("model", "Model", "As it is in the catalogue.", "Ridge 900", required=True),
        Column("model_year", "Model year", "Four digits.", "2015", required=True, read=cells.year),
        Column("vin", "VIN or frame number", "", "OS9R15-000142"),
        Column("plate", "Plate", "", "LG 142"),
        Column("note", "Note", "", "winch in front"),
        Column("severe_use", "Severe use", "“yes” for mud, dunes, racing or hauling; empty: as the book has it, or no.",
               "no", read=cells.yes_or_no),
        Column("sold_on", "Sold on", "The day the customer sold it, such as 2026-11-25; empty: not sold.", "",
               read=cells.day),
    ]  # fmt: skip

    def __init__(self, by, at, file_name):
        super().__init__(by, at, file_name)
        self._models = {}
        for model in VehicleModel.objects.all():
            self._models.setdefault((model.maker.casefold(), model.name.casefold()), []).append(model)

    def prepare(self, batch):
        names = {given.get("customer_name", "") for given in batch}
        customers = (
            Customer.objects.present()
            .annotate(key=Lower("name"))
            .filter(Q(name__in=names) | Q(key__in={name.lower() for name in names}))
        )
        self._customers = {}
        for one in customers:
            self._customers.setdefault(one.name.casefold(), []).append(one)
        vins = {given.get("vin", "").upper() for given in batch} - {""}
        wanted = Q(vin__in=vins) | Q(customer__in=[one.pk for found in self._customers.values() for one in found])
        self._by_vin, self._of_customer = {}, {}
        for row in Vehicle.objects.filter(wanted).select_related("customer", "model").order_by("pk"):
            self._remember(row)

    def _remember(self, row: Vehicle) -> None:
        if row.vin:
            self._by_vin[row.vin] = row
        self._of_customer.setdefault(row.customer_id, {})[row.pk] = row

    def bring(self, given: Given) -> Outcome:
        customers, model = self._asked(given)
        if row := self._find(given, customers, model):
            if row.customer_id not in {one.pk for one in customers}:
                words = f"The {row} with this number belongs to {row.customer} in the book. Look there first."
                raise ValidationError({"vin": words})
            return self._compare(row, given, model)
        if len(customers) > 1:
            words = f"{len(customers)} customers are called so. Give the e-mail address or the phone too."
            raise ValidationError({"customer_name": words})
        with transaction.atomic():
            row = create_vehicle(
                customer=customers[0], model=model, **self._says(given), by=self.by, at=self.at
            )  # fmt: skip
            self._sell(row, given)
        self._remember(row)
        self.mentioned(row, given)
        return Outcome.NEW

    def _asked(self, given: Given) -> tuple[list[Customer], VehicleModel]:
        """Whom and what the line names, or all that is wrong with that."""
        wrong = {}
        name, maker, model_name = (given.values[one] for one in ("customer_name", "maker", "model"))
        customers = [one for one in self._customers.get(name.casefold(), []) if _reached(one, given)]
        if not customers:
            wrong["customer_name"] = (
                "No customer in the book is called so and reached so. Bring the customers in first, or mend the name, "
                "the e-mail address or the phone."
            )
        models = self._models.get((maker.casefold(), model_name.casefold()), [])
        if not models:
            known = [f"{one.maker} {one.name}" for found in self._models.values() for one in found[:1]]
            wrong["model"] = (
                f"{maker} {model_name} is not in the catalogue. Enter it there first, if it is no slip of the keys."
                f"{near(f'{maker} {model_name}', known)}"
            )
        if wrong:
            raise ValidationError(wrong)
        year = given.values["model_year"]
        fits = [one for one in models if one.year_from <= year <= (one.year_to or year)]
        model = (fits or models)[0]
        model.check_year(year)
        return customers, model

    def _find(self, given: Given, customers: list[Customer], model: VehicleModel) -> Vehicle | None:
        vin, plate = given.get("vin", "").upper(), given.get("plate", "").upper()
        if vin and vin in self._by_vin:
            return self._by_vin[vin]
        theirs = [row for one in customers for row in self._of_customer.get(one.pk, {}).values()]
        if vin:
            theirs = [row for row in theirs if not row.vin]
        if plate:
            return next((row for row in theirs if row.plate == plate), None)
        if vin:
            return None
        year = given.values["model_year"]
        alike = [
            row
            for row in theirs
            if not row.plate and not row.vin and (row.model_id, row.model_year) == (model.pk, year)
        ]
        return next((row for row in alike if self._same(row, given, model)), alike[0] if alike else None)

    def _compare(self, row: Vehicle, given: Given, model: VehicleModel) -> Outcome:
        if self._same(row, given, model):
            first = None if row.vin or row.plate else self.line_of(row)
            if first:
                words = (
                    f"Line {first} says exactly the same. A second vehicle like it needs a VIN, a frame "
                    "number or a plate, or nobody can tell the two apart."
                )
                raise ValidationError(words)
            return Outcome.UNCHANGED
        self.check_first_mention(row, given)
        with transaction.atomic():
            if not self._same(row, given, model, sold=False):
                row = change_vehicle(
                    vehicle=row, version=row.version, model=model, **self._says(given, row), by=self.by, at=self.at
                )  # fmt: skip
            row = self._sell(row, given)
        self._remember(row)
        self.mentioned(row, given)
        return Outcome.CHANGED

    def _sell(self, row: Vehicle, given: Given) -> Vehicle:
        day = given.get("sold_on")
        if day is None or day == row.sold_on:
            return row
        if row.sold_on:
            raise ValidationError({"sold_on": f"The book says: sold on {row.sold_on.isoformat()}. Look there first."})
        try:
            return mark_sold(vehicle=row, on=day, by=self.by, at=self.at, how=HOW)
        except ValidationError as error:
            raise ValidationError({"sold_on": error.messages}) from error

    @staticmethod
    def _says(given: Given, row: Vehicle | None = None) -> dict:
        """What the line says, and what the book has where the file has no column."""
        texts = {}
        for name in ("vin", "plate", "note"):
            texts[name] = given.get(name, "") if given.says(name) or row is None else getattr(row, name)
        severe_use = given.get("severe_use", row.severe_use if row else False)
        return {"model_year": given.values["model_year"], "severe_use": severe_use, **texts}

    def _same(self, row: Vehicle, given: Given, model: VehicleModel, sold: bool = True) -> bool:
        says = self._says(given, row)
        texts = {name: plain(says[name]) for name in ("vin", "plate", "note")}
        texts |= {name: texts[name].upper() for name in ("vin", "plate")}
        has = {name: plain(getattr(row, name)) for name in texts}
        known = (row.model_id, row.model_year, row.severe_use)
        same = texts == has and known == (model.pk, says["model_year"], says["severe_use"])
        return same and (not sold or given.get("sold_on") in (None, row.sold_on))

    @classmethod
    def rows(cls):
        for row in Vehicle.objects.select_related("customer", "model").order_by("customer__name", "pk").iterator():
            yield {
                "customer_name": row.customer.name, "customer_email": row.customer.email,
                "customer_phone": row.customer.phone, "maker": row.model.maker, "model": row.model.name,
                "model_year": str(row.model_year), "vin": row.vin, "plate": row.plate, "note": row.note,
                "severe_use": "yes" if row.severe_use else "no",
                "sold_on": row.sold_on.isoformat() if row.sold_on else "",
            }  # fmt: skip


def _reached(customer: Customer, given: Given) -> bool:
    """Whether a customer is reached as the line says; what it does not say is not asked."""
    email, phone = given.get("customer_email", ""), given.get("customer_phone", "")
    if email and customer.email.casefold() != email.casefold():
        return False
    same = customer.phone.strip() == phone or (digits(phone) and digits(customer.phone) == digits(phone))
    return not phone or bool(same)
