"""Who may do what: every endpoint with every role. A new endpoint without a rule here fails."""

import re

import pytest
from django.urls import reverse

from api.urls import v1
from shop.figures.catalogue import CALCULATORS
from tests.api.conftest import Caller, refused
from tests.factories import make_user

D, T, M = "desk", "technician", "manager"
ALL, DESK, BENCH, MANAGER = {D, T, M}, {D, M}, {T, M}, {M}
OPEN = None  # also to people without a log-in

RULES = {
    ("POST", "token/"): OPEN,
    ("POST", "token/give-back/"): ALL,
    ("GET", "find/"): ALL,
    ("GET", "customers/duplicates/"): ALL,
    ("POST", "customers/<int:pk>/merge/"): DESK,
    ("POST", "work-orders/book-new/"): DESK,
    ("POST", "work-orders/book-new/proposal/"): DESK,
    ("GET", "customers/"): ALL,
    ("POST", "customers/"): DESK,
    ("GET", "customers/<int:pk>/"): ALL,
    ("PATCH", "customers/<int:pk>/"): DESK,
    ("POST", "customers/<int:pk>/consent/"): DESK,
    ("GET", "vehicle-models/"): ALL,
    ("POST", "vehicle-models/"): MANAGER,
    ("GET", "vehicle-models/<int:pk>/"): ALL,
    ("PATCH", "vehicle-models/<int:pk>/"): MANAGER,
    ("POST", "vehicle-models/<int:pk>/remove/"): MANAGER,
    ("GET", "vehicle-models/<int:pk>/fitments/"): ALL,
    ("POST", "vehicle-models/<int:pk>/fitments/"): MANAGER,
    ("PATCH", "fitments/<int:pk>/"): MANAGER,
    ("POST", "fitments/<int:pk>/copy/"): MANAGER,
    ("POST", "fitments/<int:pk>/remove/"): MANAGER,
    ("GET", "vehicles/"): ALL,
    ("POST", "vehicles/"): DESK,
    ("GET", "vehicles/<int:pk>/"): ALL,
    ("PATCH", "vehicles/<int:pk>/"): DESK,
    ("POST", "vehicles/<int:pk>/sold/"): DESK,
    ("POST", "vehicles/<int:pk>/not-sold/"): DESK,
    ("POST", "vehicles/<int:pk>/owner/"): DESK,
    ("GET", "vehicles/<int:pk>/meter-readings/"): ALL,
    ("POST", "vehicles/<int:pk>/meter-readings/"): ALL,
    ("POST", "vehicles/<int:pk>/fit-dampers/"): DESK,
    ("GET", "damper-models/"): ALL,
    ("POST", "damper-models/"): MANAGER,
    ("GET", "damper-models/<int:pk>/"): ALL,
    ("PATCH", "damper-models/<int:pk>/"): MANAGER,
    ("POST", "damper-models/<int:pk>/sizes/"): MANAGER,
    ("POST", "damper-models/<int:pk>/adjusters/"): MANAGER,
    ("GET", "damper-models/<int:pk>/parts-list/"): ALL,
    ("POST", "damper-models/<int:pk>/parts-list/"): {M},
    ("POST", "damper-models/<int:pk>/parts-list/lines/"): {M},
    ("POST", "damper-models/<int:pk>/parts-list/copy/"): {M},
    ("PATCH", "kit-lines/<int:pk>/"): {M},
    ("POST", "kit-lines/<int:pk>/remove/"): {M},
    ("GET", "day/"): ALL,
    ("GET", "bench-hours/"): ALL,
    ("POST", "bench-hours/shop/"): {M},
    ("POST", "bench-hours/people/<int:pk>/"): {M},
    ("GET", "absences/"): ALL,
    ("POST", "absences/"): {M},
    ("POST", "absences/<int:pk>/end/"): {M},
    ("GET", "closed-days/"): ALL,
    ("POST", "closed-days/"): {M},
    ("POST", "closed-days/<int:pk>/end/"): {M},
    ("GET", "labour-times/default/"): ALL,
    ("POST", "labour-times/default/"): {M},
    ("GET", "damper-models/<int:pk>/labour-time/"): ALL,
    ("POST", "damper-models/<int:pk>/labour-time/"): {M},
    ("POST", "damper-models/<int:pk>/labour-time/remove/"): {M},
    ("POST", "work-orders/proposal/"): DESK,
    ("GET", "work-orders/<int:pk>/answer/"): ALL,
    ("PATCH", "work-orders/<int:pk>/"): DESK,
    ("GET", "intervals/default/"): ALL,
    ("POST", "intervals/default/"): {M},
    ("POST", "intervals/default/remove/"): {M},
    ("GET", "damper-models/<int:pk>/interval/"): ALL,
    ("POST", "damper-models/<int:pk>/interval/"): {M},
    ("POST", "damper-models/<int:pk>/interval/remove/"): {M},
    ("GET", "vehicle-models/<int:pk>/interval/"): ALL,
    ("POST", "vehicle-models/<int:pk>/interval/"): {M},
    ("POST", "vehicle-models/<int:pk>/interval/remove/"): {M},
    ("GET", "vehicles/<int:pk>/interval/"): ALL,
    ("POST", "pick-lines/<int:pk>/swap/"): ALL,
    ("GET", "picks/"): ALL,
    ("POST", "picks/scan/"): ALL,
    ("POST", "picks/pick/"): ALL,
    ("POST", "pick-lines/<int:pk>/undo/"): ALL,
    ("GET", "walking-order/"): ALL,
    ("POST", "walking-order/"): DESK,
    ("GET", "used-oil/"): ALL,
    ("POST", "used-oil/"): ALL,
    ("POST", "used-oil/<int:pk>/correct/"): DESK,
    ("GET", "drums/"): ALL,
    ("POST", "drums/"): DESK,
    ("POST", "drums/<int:pk>/hand-over/"): DESK,
    ("POST", "drums/<int:pk>/out-of-use/"): DESK,
    ("POST", "jobs/<int:pk>/parts/take-up/"): ALL,
    ("POST", "jobs/<int:pk>/parts/take-back/"): ALL,
    ("GET", "dampers/"): ALL,
    ("POST", "dampers/"): DESK,
    ("GET", "dampers/<int:pk>/"): ALL,
    ("PATCH", "dampers/<int:pk>/"): DESK,
    ("POST", "dampers/<int:pk>/take-off/"): DESK,
    ("GET", "procedures/"): ALL,
    ("POST", "procedures/"): MANAGER,
    ("GET", "procedures/<int:pk>/"): ALL,
    ("GET", "procedures/<int:pk>/compare/"): ALL,
    ("POST", "procedures/<int:pk>/change/"): MANAGER,
    ("POST", "procedures/<int:pk>/make-current/"): MANAGER,
    ("POST", "procedures/<int:pk>/discard/"): MANAGER,
    ("POST", "procedures/<int:pk>/steps/"): MANAGER,
    ("PATCH", "procedures/<int:pk>/steps/<int:step>/"): MANAGER,
    ("POST", "procedures/<int:pk>/steps/<int:step>/move/"): MANAGER,
    ("POST", "procedures/<int:pk>/steps/<int:step>/remove/"): MANAGER,
    ("GET", "spec/"): ALL,
    ("GET", "sheets/"): ALL,
    ("POST", "sheets/"): {M},
    ("GET", "sheets/<int:pk>/"): ALL,
    ("PATCH", "sheets/<int:pk>/"): {M},
    ("POST", "sheets/<int:pk>/verify/"): BENCH,
    ("POST", "sheets/<int:pk>/send-back/"): BENCH,
    ("POST", "sheets/<int:pk>/withdraw/"): {M},
    ("GET", "sheets/<int:pk>/history/"): ALL,
    ("GET", "sheets/<int:pk>/differences/"): ALL,
    ("GET", "work-orders/"): ALL,
    ("POST", "work-orders/"): DESK,
    ("GET", "work-orders/<int:pk>/"): ALL,
    ("POST", "work-orders/<int:pk>/check-in/"): DESK,
    ("POST", "work-orders/<int:pk>/call-off/"): DESK,
    ("POST", "work-orders/<int:pk>/close/"): BENCH,
    ("POST", "work-orders/<int:pk>/hand-back/"): DESK,
    ("GET", "work-orders/<int:pk>/agreements/"): ALL,
    ("POST", "work-orders/<int:pk>/agreements/"): DESK,
    ("GET", "work-orders/<int:pk>/questions/"): ALL,
    ("POST", "work-orders/<int:pk>/questions/"): DESK,
    ("GET", "work-orders/<int:pk>/photos/"): ALL,
    ("POST", "work-orders/<int:pk>/photos/"): ALL,
    ("POST", "photos/<int:pk>/strike/"): ALL,
    ("POST", "jobs/<int:pk>/propose/"): BENCH,
    ("GET", "questions/<int:pk>/"): ALL,
    **{("POST", f"questions/<int:pk>/{one}/"): DESK for one in ("price", "answer", "withdraw", "after", "mail")},
    ("GET", "work-orders/<int:pk>/pick-list/"): ALL,
    ("GET", "work-orders/<int:pk>/job-card/"): ALL,
    ("POST", "work-orders/<int:pk>/pick-list/hold/"): ALL,
    ("POST", "pick-lines/<int:pk>/pick/"): ALL,
    ("POST", "pick-lines/<int:pk>/unpick/"): ALL,
    ("GET", "jobs/"): ALL,
    ("GET", "jobs/<int:pk>/"): ALL,
    ("POST", "jobs/<int:pk>/steps/<int:number>/done/"): BENCH,
    ("POST", "jobs/<int:pk>/steps/<int:number>/does-not-apply/"): BENCH,
    ("POST", "jobs/<int:pk>/steps/<int:number>/second-check/"): BENCH,
    ("POST", "jobs/<int:pk>/reopen/"): BENCH,
    ("POST", "jobs/<int:pk>/take-sheet/"): {M},
    ("GET", "jobs/<int:pk>/readings/"): ALL,
    ("POST", "jobs/<int:pk>/readings/"): BENCH,
    ("POST", "jobs/<int:pk>/drop/"): DESK,
    ("POST", "jobs/<int:pk>/close/"): BENCH,
    ("GET", "parts/"): ALL,
    ("GET", "parts/<int:pk>/"): ALL,
    ("POST", "parts/<int:pk>/receive/"): DESK,
    ("POST", "parts/<int:pk>/count/"): DESK,
    ("GET", "parts/<int:pk>/movements/"): ALL,
    ("POST", "parts/<int:pk>/write-off/"): {M},
    ("POST", "parts/<int:pk>/keeping/"): DESK,
    ("POST", "movements/<int:pk>/correct/"): DESK,
    ("GET", "stock-takes/"): ALL,
    ("POST", "stock-takes/"): DESK,
    ("GET", "stock-takes/<int:pk>/"): ALL,
    ("GET", "stock-takes/<int:pk>/rows/"): ALL,
    ("POST", "stock-takes/<int:pk>/counts/"): ALL,
    ("POST", "stock-takes/<int:pk>/finish/"): DESK,
    ("POST", "stock-takes/<int:pk>/give-up/"): DESK,
    ("GET", "work-orders/<int:pk>/used-against-picked/"): ALL,
    ("POST", "work-orders/<int:pk>/put-all-back/"): ALL,
    ("GET", "parts/<int:pk>/reorder/"): ALL,
    ("POST", "parts/<int:pk>/reorder/"): MANAGER,
    ("POST", "parts/<int:pk>/reorder/as-reckoned/"): MANAGER,
    ("GET", "reorder/"): ALL,
    ("GET", "to-buy/"): ALL,
    ("GET", "suppliers/"): ALL,
    ("POST", "suppliers/"): MANAGER,
    ("GET", "suppliers/<int:pk>/"): ALL,
    ("PATCH", "suppliers/<int:pk>/"): MANAGER,
    ("GET", "suppliers/<int:pk>/sells/"): ALL,
    ("POST", "suppliers/<int:pk>/sells/"): MANAGER,
    ("GET", "supplier-items/<int:pk>/"): ALL,
    ("PATCH", "supplier-items/<int:pk>/"): MANAGER,
    ("GET", "supplier-items/<int:pk>/prices/"): ALL,
    ("POST", "supplier-items/<int:pk>/prices/"): MANAGER,
    ("GET", "purchase-orders/"): ALL,
    ("POST", "purchase-orders/"): DESK,
    ("GET", "purchase-orders/<int:pk>/"): ALL,
    ("POST", "purchase-orders/<int:pk>/lines/"): DESK,
    ("POST", "purchase-orders/<int:pk>/send/"): DESK,
    ("POST", "purchase-orders/<int:pk>/deliveries/"): DESK,
    ("POST", "purchase-orders/<int:pk>/call-off/"): DESK,
    ("POST", "purchase-orders/<int:pk>/hold/"): ALL,
    ("GET", "purchase-orders/<int:pk>/paper/"): ALL,
    ("GET", "purchase-orders/<int:pk>/text/"): ALL,
    ("POST", "delivery-lines/<int:pk>/correct/"): DESK,
    ("GET", "exchange/"): DESK,
    ("GET", "exchange/files/"): DESK,
    ("GET", "exchange/files/<int:pk>/"): DESK,
    ("POST", "exchange/files/<int:pk>/bring-in/"): DESK,
    ("POST", "exchange/files/<int:pk>/put-away/"): DESK,
    **{(method, f"exchange/{name}/"): {M} for method in ("GET", "POST") for name in ("sheets", "kit-lines")},
    **{
        (method, f"exchange/{name}/"): DESK for method in ("GET", "POST") for name in ("parts", "customers", "vehicles")
    },
    ("GET", "calculations/"): ALL,
    **{("POST", f"calculations/{name}/"): ALL for name in CALCULATORS},
}
WRITES = {"POST", "PUT", "PATCH", "DELETE"}


def endpoints():
    """Every method and route of /api/v1/ as the site has them."""
    for one in v1:
        view = one.callback.cls
        for method in ("get", *(name.lower() for name in WRITES)):
            if hasattr(view, method):
                yield method.upper(), str(one.pattern)


def asked(user, method, route):
    """The route with ids that nobody has."""
    return Caller(user).send(method, re.sub(r"<int:\w+>", "0", route), {} if method in WRITES else None)


def test_every_endpoint_has_a_rule():
    assert sorted(endpoints()) == sorted(RULES)


@pytest.mark.parametrize("role", [D, T, M])
@pytest.mark.parametrize(("method", "route"), sorted(endpoints()))
def test_a_role_is_let_in_or_told_who_is(method, route, role, db):
    user = make_user(role)
    answer = asked(user, method, route)
    allowed = RULES[method, route]
    if allowed is OPEN or role in allowed:
        assert answer.status_code not in (401, 403, 405, 500), answer.content.decode()
        return
    message = refused(answer, 403, code="permission_denied")
    assert message.startswith("This is for: ")
    assert str(user) in message


@pytest.mark.parametrize(("method", "route"), sorted(endpoints()))
def test_without_a_log_in_only_the_log_in_is_open(method, route, db):
    answer = asked(None, method, route)
    if RULES[method, route] is OPEN:
        refused(answer, 400)
        return
    message = refused(answer, 401, code="not_authenticated")
    assert "Authorization: Token" in message
    assert answer["WWW-Authenticate"] == "Token"


def test_the_document_and_its_page_are_for_people_with_a_log_in(nobody, client, desk):
    refused(client.get(reverse("api:schema")), 401)
    assert client.get(reverse("api:docs")).status_code == 302
    client.force_login(desk)
    assert client.get(reverse("api:schema")).status_code == 200
    assert client.get(reverse("api:docs")).status_code == 200


def test_somebody_who_left_the_shop_gets_in_no_more(at_desk, desk):
    desk.is_active = False
    desk.save()
    refused(at_desk.get("customers/"), 401)
