"""What a damper is found by: its serial number; one without is found by its vehicle or its order."""

from shop.core.search.index import Source, Watch
from shop.customers.found import CUSTOMER, CUSTOMER_COLUMNS

SOURCES = [
    Source(
        kind="damper",
        table="dampers_damper",
        alias="d",
        joins=(
            "JOIN customers_customer c ON c.id = d.customer_id JOIN dampers_dampermodel dm ON dm.id = d.model_id "
            "LEFT JOIN customers_vehicle v ON v.id = d.vehicle_id"
        ),
        only="d.serial <> ''",
        customer="d.customer_id",
        past="v.sold_on IS NOT NULL",
        own="search_one_spaced(d.serial) || search_spaced(dm.maker) || search_spaced(dm.name)",
        context=f"search_one_spaced(v.plate) || {CUSTOMER}",
        columns=("serial", "model_id", "customer_id", "vehicle_id"),
        watches=(
            Watch("customers_customer", "d.customer_id", CUSTOMER_COLUMNS),
            Watch("customers_vehicle", "d.vehicle_id", ("plate", "sold_on")),
            Watch("dampers_dampermodel", "d.model_id", ("maker", "name")),
        ),
    )
]
