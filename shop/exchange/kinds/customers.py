from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.db.models.functions import Lower

from shop.customers.models import Consent, Customer
from shop.customers.services import (
    NewCustomer,
    change_customer,
    create_customer,
    create_customers,
    record_consent,
)
from shop.exchange import cells
from shop.exchange.models import KindName
from shop.exchange.table import Column, Given, Kind, Outcome

ANSWERS = {"yes": Consent.YES.value, "no": Consent.NO.value, "not asked": Consent.NOT_ASKED.value}
IN_WORDS = {value: word for word, value in ANSWERS.items()}
TEXTS = ("name", "email", "phone", "address", "note")
HOW = "as a file says"


class Customers(Kind):
    name = KindName.CUSTOMERS
    one = "customer"
    ability = "keep_customers"
    about = (
        "A customer is found again by the name together with the e-mail address or the phone number. One that is not "
        "there yet is entered; one that is there is changed to what the file says. A column that the file does not "
        "have changes nothing."
    )
    columns = [
        Column("name", "Name", "Of a person or a firm.", "Ines Calloway", required=True),
        Column("email", "E-mail", "Where reminders go.", "ines@example.com", read=cells.email),
        Column("phone", "Phone", "", "555-0142"),
        Column("address", "Address", "May have several lines.", "4 Mill Lane, Larkspur Gulch"),
        Column("note", "Note", "For the desk; the customer never sees it.", "calls back after five"),
        Column(
            "reminders", "Wants reminders",
            "One of: yes, no, not asked. An answer that is in the book already is changed on the customer's page only.",
            "not asked", read=cells.choice(ANSWERS),
        ),
    ]  # fmt: skip

    def prepare(self, batch):
        emails = {given.get("email", "").lower() for given in batch} - {""}
        names = {given.get("name", "") for given in batch}
        rows = (
            Customer.objects.present()
            .annotate(email_key=Lower("email"), name_key=Lower("name"))
            .filter(Q(email_key__in=emails) | Q(name_key__in={name.lower() for name in names}) | Q(name__in=names))
        )
        self._by_email, self._by_name = {}, {}
        for row in rows.order_by("pk"):
            self._remember(row)

    def _remember(self, row: Customer) -> None:
        for index, key in ((self._by_email, row.email), (self._by_name, row.name)):
            if key:
                index.setdefault(key.casefold(), {})[row.pk] = row

    def enter_together(self, batch):
        """Those whose name and address nobody has: neither in the book, nor in an earlier line of the batch."""
        new, mentioned = [], set()
        for given in batch:
            keys = {given.values["name"].casefold(), given.get("email", "").casefold()} - {""}
            known = any(key in index for key in keys for index in (self._by_name, self._by_email))
            answered = given.get("reminders", Consent.NOT_ASKED) != Consent.NOT_ASKED
            if not known and not answered and not keys & mentioned:
                new.append(given)
            mentioned |= keys
        if not new:
            return set()
        rows = [NewCustomer(**self._says(given), origin=self.origin(given)) for given in new]
        try:
            customers = create_customers(new=rows, by=self.by, at=self.at)
        except ValidationError:  # which of them and why, is told when they come singly
            return set()
        for row, given in zip(customers, new, strict=True):
            self._remember(row)
            self.mentioned(row, given)
        return {given.line for given in new}

    @staticmethod
    def _says(given: Given) -> dict[str, str]:
        return {name: given.get(name, "") for name in TEXTS}

    def bring(self, given: Given) -> Outcome:
        email, name = given.get("email", ""), given.values["name"]
        sharing = self._by_email.get(email.casefold(), {}) if email else {}
        named = self._by_name.get(name.casefold(), {})
        for row in (*named.values(), *sharing.values()):
            if self._says_the_same(row, given):
                return Outcome.UNCHANGED
        found = [row for row in named.values() if same_customer(row, email, given.get("phone", ""))]
        if len(found) > 1:
            words = f"{len(found)} customers in the book are called so and reached so. Change them on their pages."
            raise ValidationError({"name": words})
        if not found and sharing:
            other = next(iter(sharing.values()))
            words = (
                f"This is the address of {other} in the book. If that is the same customer, write the name as it is "
                "there or change it there; if it is somebody else, enter them at the desk."
            )
            raise ValidationError({"email": words})
        return self._change(found[0], given) if found else self._enter(given)

    def _enter(self, given: Given) -> Outcome:
        with transaction.atomic():
            row = create_customer(**self._says(given), by=self.by, at=self.at)
            row = self._note_answer(row, given)
        self._remember(row)
        self.mentioned(row, given)
        return Outcome.NEW

    def _change(self, row: Customer, given: Given) -> Outcome:
        self.check_first_mention(row, given)
        with transaction.atomic():
            texts = {name: given.get(name, "") if given.says(name) else getattr(row, name) for name in TEXTS}
            if any(plain(getattr(row, name)) != plain(text) for name, text in texts.items()):
                row = change_customer(customer=row, version=row.version, **texts, by=self.by, at=self.at)
            row = self._note_answer(row, given)
        self._remember(row)
        self.mentioned(row, given)
        return Outcome.CHANGED

    def _note_answer(self, row: Customer, given: Given) -> Customer:
        answer = given.get("reminders", Consent.NOT_ASKED)
        if answer in (Consent.NOT_ASKED, row.reminder_consent):
            return row
        if row.reminder_consent != Consent.NOT_ASKED:
            words = (
                f"The book says: {row.get_reminder_consent_display()}. What a customer has answered is changed on "
                "their page, when they say so."
            )
            raise ValidationError({"reminders": words})
        return record_consent(customer=row, wants=answer == Consent.YES, by=self.by, at=self.at, how=HOW)

    @staticmethod
    def _says_the_same(row: Customer, given: Given) -> bool:
        texts = [name for name in TEXTS if given.says(name)]
        if any(plain(getattr(row, name)) != plain(given.get(name, "")) for name in texts):
            return False
        return given.get("reminders", Consent.NOT_ASKED) in (Consent.NOT_ASKED, row.reminder_consent)

    @classmethod
    def rows(cls):
        for row in Customer.objects.present().order_by("name", "pk").iterator():
            texts = {name: getattr(row, name) for name in TEXTS}
            yield texts | {"reminders": IN_WORDS[row.reminder_consent]}


def same_customer(row: Customer, email: str, phone: str) -> bool:
    """Of a customer with the right name, whether the address or the phone is the same, or neither has any."""
    if email and row.email.casefold() == email.casefold():
        return True
    if digits(phone) and digits(row.phone) == digits(phone):
        return True
    return not (email or phone or row.email or row.phone)


def digits(phone: str) -> str:
    return "".join(one for one in phone if one.isdigit())


def plain(text: str) -> str:
    """Text as it comes out of a cell again."""
    return text.replace("\r\n", "\n").replace("\r", "\n").strip()
