"""Addresses of pages that more than one face leads to."""

from urllib.parse import urlencode

from django.urls import reverse

from shop.dampers.models import Damper


def why_this_sheet(damper: Damper) -> str:
    """The page that tells which sheet holds for a damper today, and why none of the others does."""
    asked = {"damper_model": damper.model_id, "year": damper.model_year, "position": damper.position}
    if damper.vehicle:
        asked["vehicle_model"] = damper.vehicle.model_id
    return f"{reverse('manage:why')}?{urlencode(asked)}"
