"""Every form of the desk and the manager, filled with what nobody should type: a refusal or a page, never a fault."""

import pytest
from django.urls import reverse

from shop.specs.models import SheetStatus
from shop.workorders.services import check_in
from tests import factories as make
from tests.factories import NOON
from tests.web.people import form, make_family, make_vehicle_with_dampers

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
# A page answers, leads on, knows nothing of it, was too late, or refuses.
CALM = {200, 302, 404, 409, 422}
NASTY = ["", "\x00", "x" * 20_000, "9" * 40, "9" * 6000, "-1", "1e999", "9999-12-31", "😀 <b>% '\" ½ ١٢"]


@pytest.fixture
def pages(manager):
    """(page, address its form goes to) of every form, on a shop with an order in each state that has one."""
    family = make_family()
    vehicle, other = make_vehicle_with_dampers(family), make_vehicle_with_dampers(family)
    booked = make.make_order(vehicle=vehicle, dampers=list(vehicle.dampers.all()[:2]))
    bench = make.make_order(vehicle=other, dampers=list(other.dampers.all()[:2]))
    check_in(order=bench, meters=[], as_found=[], by=manager, at=NOON)
    draft = make.make_sheet(make.make_damper_model(), status=SheetStatus.DRAFT)
    customer = vehicle.customer

    def at(name, *args, ask=""):
        return reverse(name, args=args) + ask

    alone = [
        at("desk:customer_new"), at("desk:customer_change", customer.pk), at("desk:vehicle_new", customer.pk),
        at("desk:vehicle_change", vehicle.pk), at("desk:vehicle_sold", vehicle.pk),
        at("desk:damper_new", ask=f"?customer={customer.pk}"), at("desk:damper_new", ask=f"?vehicle={vehicle.pk}"),
        at("desk:book", ask=f"?vehicle={vehicle.pk}"), at("desk:check_in", booked.pk), at("desk:call_off", booked.pk),
        at("tablet:close_order", bench.pk), at("desk:hand_back", bench.pk), at("manage:sheet_new"),
        at("manage:receive", ask=f"?part={family['oil'].pk}"), at("manage:receive", ask=f"?part={family['kit'].pk}"),
        at("manage:count", ask=f"?part={family['oil'].pk}"), at("manage:count", ask=f"?part={family['kit'].pk}"),
        at("manage:person_new"), at("manage:pin", manager.pk), at("manage:role", manager.pk),
        at("manage:password", manager.pk), at("own_password"),
    ]  # fmt: skip
    return [(page, page) for page in alone] + [
        (customer.get_absolute_url(), at("desk:customer_consent", customer.pk)),
        (vehicle.get_absolute_url(), at("desk:meter", vehicle.pk)),
        (at("manage:sheet_verify", draft.pk), at("manage:sheet_verify", draft.pk)),
        (at("manage:sheet_verify", draft.pk), at("manage:sheet_send_back", draft.pk)),
        (at("manage:sheet_change", draft.pk), at("manage:sheet_change", draft.pk)),
        (at("manage:sheets_table"), at("manage:sheets_table")),
        (at("manage:sheets_copy", ask=f"?sheet={draft.pk}"), at("manage:sheets_copy", ask=f"?sheet={draft.pk}")),
        (draft.get_absolute_url(), at("manage:sheet_withdraw", draft.pk)),
        (at("desk:pick_list", booked.pk), at("desk:pick_row", booked.pk)),
    ]


@pytest.mark.parametrize(
    "typed", NASTY, ids=["nothing", "null", "long", "huge", "endless", "below", "beyond", "late", "odd"]
)
def test_no_form_stumbles_over_what_is_typed(as_manager, pages, typed):
    for page, to in pages:
        filled = dict.fromkeys(form(as_manager.get(page)), typed)
        assert as_manager.post(to, filled).status_code in CALM, to
        assert as_manager.post(to, {}).status_code in CALM, to


@pytest.mark.parametrize(
    "typed", NASTY, ids=["nothing", "null", "long", "huge", "endless", "below", "beyond", "late", "odd"]
)
def test_no_list_stumbles_over_what_is_asked(as_manager, typed):
    names = """
        desk:orders desk:customers desk:search desk:book desk:damper_new manage:sheets manage:sheet_new manage:stock
        manage:receive manage:count manage:damper_models manage:vehicle_models manage:parts manage:reminders
    """
    for url in [reverse(name) for name in names.split()]:
        for key in ("q", "page", "state", "status", "before", "customer", "vehicle", "loose", "part", "replaces"):
            assert as_manager.get(url, {key: typed}).status_code in CALM, (url, key)


@pytest.mark.parametrize(
    "typed", NASTY, ids=["nothing", "null", "long", "huge", "endless", "below", "beyond", "late", "odd"]
)
def test_no_page_of_the_spec_table_stumbles_over_what_is_asked(as_manager, typed):
    for name, keys in (
        ("sheet_new", "copy damper_model position year_from vehicle_model"), ("sheets_table", "q page damper_model"),
        ("sheets_copy", "sheet"), ("sheets_compare", "sheet only"), ("sheets_queue", "page"),
    ):  # fmt: skip
        for key in keys.split():
            assert as_manager.get(reverse(f"manage:{name}"), {key: typed}).status_code in CALM, (name, key)
    for key in ("value", "unit", "tolerance"):
        asked = {"measure": "charge", "value": "100", "unit": "psi", "tolerance": "± 5", key: typed}
        assert as_manager.get(reverse("manage:sheet_limits"), asked).status_code in CALM, key


def test_bytes_that_are_no_text_are_no_fault(as_manager, pages):
    for _, to in pages:
        answer = as_manager.post(to, b"name=%ff%fe&why=%c3%28&part=%ff", "application/x-www-form-urlencoded")
        assert answer.status_code in CALM, to
