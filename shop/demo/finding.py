"""Somebody who was entered twice, and a vehicle that was sold: what finding and merging are for."""

from datetime import datetime, timedelta

from shop.core.clock import local_day
from shop.customers.models import VehicleModel
from shop.customers.services import create_customer, create_vehicle, mark_sold
from shop.dampers.models import DamperModel
from shop.dampers.services import create_damper
from shop.staff.models import User


def entered_twice(*, vehicle_model: VehicleModel, damper_model: DamperModel, by: User, now: datetime) -> None:
    """A second entry of Petra Oyelaran-Wick, with a loose damper; and Lena Quill-Hartog, who sold her vehicle."""
    at = now - timedelta(days=20)
    twin = create_customer(name="Petra Oyelaran Wick", phone="(555) 0134", note="Rings from work.", by=by, at=at)
    create_damper(customer=twin, model=damper_model, model_year=2015, serial="PO-2207", by=by, at=at)
    seller = create_customer(name="Lena Quill-Hartog", email="lena@example.org", phone="555-0171", by=by, at=at)
    sold = create_vehicle(
        customer=seller, model=vehicle_model, model_year=2016, vin="OS9R16-01177", plate="LG 177", by=by, at=at
    )
    mark_sold(vehicle=sold, on=local_day(at), by=by, at=at, how="told at the desk")
