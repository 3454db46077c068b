"""What an order is found by: the figures of its number, and besides its customer and vehicle."""

from shop.core.search.index import Source, Watch
from shop.customers.found import CUSTOMER, CUSTOMER_COLUMNS, VEHICLE, VEHICLE_COLUMNS

FIRST_NUMBER = 1000  # an order's number is this and its key

SOURCES = [
    Source(
        kind="order",
        table="workorders_workorder",
        alias="o",
        joins=(
            "JOIN customers_customer c ON c.id = o.customer_id LEFT JOIN customers_vehicle v ON v.id = o.vehicle_id "
            "LEFT JOIN customers_vehiclemodel vm ON vm.id = v.model_id"
        ),
        customer="o.customer_id",
        past="o.status = 'called_off'",
        own=f"search_one_spaced(CAST(o.id + {FIRST_NUMBER} AS text))",
        context=f"{VEHICLE} || {CUSTOMER}",
        columns=("customer_id", "vehicle_id", "status"),
        watches=(
            Watch("customers_customer", "o.customer_id", CUSTOMER_COLUMNS),
            Watch("customers_vehicle", "o.vehicle_id", VEHICLE_COLUMNS),
            Watch("customers_vehiclemodel", "vm.id", ("maker", "name")),
        ),
    )
]
