"""What customers and their vehicles are found by, in SQL for the search entries."""

from shop.core.search.index import Source, Watch
from shop.core.search.words import MAIL

# The e-mail address as one word of its letters, marked as such.
_MAIL = f"CASE WHEN c.email = '' THEN '' ELSE '  ' || search_plain(c.email) || '{MAIL}  ' END"
# A double name is found by either name, and by both written as one.
_PARTS = "CASE WHEN c.name LIKE '%-%' THEN search_spaced(replace(c.name, '-', ' ')) ELSE '' END"
CUSTOMER = f"search_spaced(c.name) || {_PARTS} || search_digits(c.phone) || {_MAIL}"
CUSTOMER_COLUMNS = ("name", "phone", "email")
VEHICLE = (
    "search_spaced(vm.maker) || search_spaced(vm.name) || search_one_spaced(CAST(v.model_year AS text)) "
    "|| search_one_spaced(v.plate) || search_one_spaced(v.vin)"
)
VEHICLE_COLUMNS = ("model_id", "model_year", "plate", "vin")

SOURCES = [
    Source(
        kind="customer",
        table="customers_customer",
        alias="c",
        customer="c.id",
        past="c.merged_into_id IS NOT NULL",
        own=CUSTOMER,
        columns=(*CUSTOMER_COLUMNS, "merged_into_id"),
    ),
    Source(
        kind="vehicle",
        table="customers_vehicle",
        alias="v",
        joins="JOIN customers_customer c ON c.id = v.customer_id JOIN customers_vehiclemodel vm ON vm.id = v.model_id",
        customer="v.customer_id",
        past="v.sold_on IS NOT NULL",
        own=VEHICLE,
        context=CUSTOMER,
        columns=(*VEHICLE_COLUMNS, "customer_id", "sold_on"),
        watches=(
            Watch("customers_customer", "v.customer_id", CUSTOMER_COLUMNS),
            Watch("customers_vehiclemodel", "v.model_id", ("maker", "name")),
        ),
    ),
]
