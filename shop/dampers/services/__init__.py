"""Every write on damper models, on what vehicle models carry, and on dampers: a file per activity."""

from shop.dampers.services.damper_models import change_damper_model, create_damper_model, set_adjusters, set_geometry
from shop.dampers.services.owned import change_damper, change_owner, create_damper, enter_vehicle, fit_dampers, take_off
from shop.dampers.services.vehicle_models import (
    change_fitment,
    change_vehicle_model,
    copy_fitment,
    remove_fitment,
    remove_vehicle_model,
    set_fitment,
    set_fitments,
)

__all__ = [
    "change_damper",
    "change_damper_model",
    "change_fitment",
    "change_owner",
    "change_vehicle_model",
    "copy_fitment",
    "create_damper",
    "create_damper_model",
    "enter_vehicle",
    "fit_dampers",
    "remove_fitment",
    "remove_vehicle_model",
    "set_adjusters",
    "set_fitment",
    "set_fitments",
    "set_geometry",
    "take_off",
]
