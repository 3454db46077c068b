"""Service intervals on their pages, and what severe use makes of them on the page of a vehicle."""

import pytest

from shop.customers.models import Vehicle
from shop.specs.models import ServiceInterval
from tests import factories as make
from tests.factories import MILE
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]

HOME = "/manage/catalogue/"


@pytest.fixture(params=["damper model", "vehicle model", "the shop"])
def subject(request):
    """The page that tells an interval, the page that sets it, and the filter of its row."""
    if request.param == "damper model":
        model = make.make_damper_model()
        told = f"{HOME}damper-models/{model.pk}/"
        return told, f"{told}interval/", {"damper_model": model}
    if request.param == "vehicle model":
        model = make.make_vehicle_model()
        return (
            f"{HOME}vehicle-models/{model.pk}/",
            f"{HOME}vehicle-models/{model.pk}/interval/",
            {"vehicle_model": model},
        )
    return HOME, f"{HOME}interval/", {}


def own(models):
    return ServiceInterval.objects.filter(**{"damper_model": None, "vehicle_model": None} | models).first()


def test_an_interval_is_set_shown_changed_and_removed(as_manager, subject):
    told, page, models = subject
    typed = {"months": "6", "distance": "800", "hours": "", "severe_factor": "0.5", "source": "the shop's own"}
    assert send(as_manager, page, "", **typed).url == told
    said = words(as_manager.get(told))
    assert "due after 6 months or 800 mi, whichever comes first" in said.lower()
    assert "half the interval, 3 months instead of 6 and 400 mi instead of 800" in said.replace("In severe use ", "")
    again = {"months": "", "distance": "1000 km", "source": "bench notes, p. 4", "severe_factor": "1"}
    assert send(as_manager, page, "", **again).status_code == 302
    kept = own(models)
    assert (kept.months, kept.distance_m, kept.severe_factor, kept.source) == (None, 1e6, 1, "bench notes, p. 4")
    asked = as_manager.post(f"{page}remove/")
    assert "Remove the interval of" in words(asked)
    assert own(models)
    gone = as_manager.post(f"{page}remove/", form(asked), follow=True)
    assert "Removed." in words(gone)
    assert own(models) is None
    assert "no interval of its own any more" in words(as_manager.post(f"{page}remove/", form(asked), follow=True))


def test_the_form_begins_with_the_interval_that_holds(as_manager):
    damper = make.make_damper_model()
    ServiceInterval.objects.create(
        damper_model=damper, distance_m=1500.5 * MILE, hours_s=40 * 3600, source="bench notes", severe_factor=0.75
    )
    there = form(as_manager.get(f"{HOME}damper-models/{damper.pk}/interval/"))
    names = ("months", "distance", "hours", "severe_factor", "source")
    assert [there[name] for name in names] == ["", "1500.5", "40", "0.75", "bench notes"]


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({}, "Give at least one of months, distance and hours"),
        ({"months": "0"}, "0 is too little. Give a whole number from 1 to 240."),
        ({"distance": "0"}, "more than zero"),
        ({"hours": "ten"}, "“ten” cannot be read"),
        ({"months": "6", "source": " "}, "Nothing is typed here. Fill it in."),
        ({"months": "6", "severe_factor": "2"}, "2 cannot be the factor for severe use"),
        ({"months": "6", "severe_factor": "half"}, "This is no number. Write it like 0.5."),
        ({"months": "6", "severe_factor": "nan"}, "This is no number. Write it like 0.5."),
        ({"months": "6", "seen": "x"}, "Somebody else has changed this interval"),
    ],
)
def test_an_interval_that_cannot_be_is_refused_and_stays_in_the_form(as_manager, typed, told):
    damper = make.make_damper_model()
    asked = {"source": "bench notes", "severe_factor": "1", "months": ""} | typed
    page = as_manager.post(f"{HOME}damper-models/{damper.pk}/interval/", asked)
    assert page.status_code == (409 if "seen" in typed else 422)
    assert told in words(page)
    assert form(page)["months"] == asked["months"]
    assert not ServiceInterval.objects.filter(damper_model=damper).exists()


def test_of_two_managers_the_second_is_told_and_may_then_decide(as_manager, subject):
    _, page, models = subject
    opened = form(as_manager.get(page))
    send(as_manager, page, "", months="9", source="first")
    late = as_manager.post(page, opened | {"months": "10", "source": "second"})
    assert late.status_code == 409
    assert "due after 9 months" in words(late).lower()
    assert own(models).months == 9
    assert as_manager.post(page, form(late)).status_code == 302
    assert own(models).months == 10


def test_one_that_was_changed_meanwhile_is_not_removed(as_manager):
    model = make.make_damper_model()
    page = f"{HOME}damper-models/{model.pk}/interval/"
    send(as_manager, page, months="9", source="first")
    asked = form(as_manager.post(f"{page}remove/"))
    send(as_manager, page, months="8", source="second")
    late = as_manager.post(f"{page}remove/", asked)
    assert late.status_code == 409
    assert "Somebody else has changed it since you opened it. It says: due after 8 months" in words(late)
    assert ServiceInterval.objects.filter(damper_model=model).exists()


def test_each_page_tells_which_rule_holds(at_desk):
    vehicle, damper = make.make_vehicle(), make.make_damper_model()
    make.make_fitment(vehicle.model, "rear_left", damper)
    make.make_damper(vehicle, model=damper)
    page = f"/vehicles/{vehicle.pk}/"
    by_default = "Neither the vehicle model nor a damper model has one of its own, so the shop's default holds."
    assert by_default in words(at_desk.get(page))
    assert by_default in words(at_desk.get(f"{HOME}vehicle-models/{vehicle.model_id}/"))
    ServiceInterval.objects.create(damper_model=damper, months=6, source="test")
    for url in (page, f"{HOME}vehicle-models/{vehicle.model_id}/"):
        assert f"so the one of its damper model holds: {damper}." in words(at_desk.get(url))
    assert "Its own holds, except on vehicle models" in words(at_desk.get(f"{HOME}damper-models/{damper.pk}/"))


def test_severe_use_is_asked_at_the_desk_and_told_in_words(at_desk):
    """12 months or 1500 mi, half of it in severe use: common practice, no source."""
    ServiceInterval.objects.filter(damper_model=None, vehicle_model=None).update(severe_factor=0.5)
    customer, model = make.make_customer(), make.make_vehicle_model()
    made = send(
        at_desk, f"/customers/{customer.pk}/vehicles/new/", model=model.pk, model_year="2015", severe_use="on"
    )  # fmt: skip
    vehicle = Vehicle.objects.get()
    assert (made.url, vehicle.severe_use) == (f"/vehicles/{vehicle.pk}/", True)
    told = words(at_desk.get(made.url))
    assert "6 months after it came into our book" in told
    assert "Severe use: half the interval, 6 months instead of 12 and 750 mi instead of 1500." in told
    changed = form(at_desk.get(f"{made.url}change/"))
    del changed["severe_use"]
    assert at_desk.post(f"{made.url}change/", changed).status_code == 302
    told = words(at_desk.get(made.url))
    assert "12 months after it came into our book" in told
    assert "Severe use:" not in told


@pytest.mark.parametrize(("before", "then", "told"), [(False, False, False), (False, True, True), (True, False, True)])
def test_a_stale_change_names_severe_use_when_it_is_another(at_desk, as_manager, before, then, told):
    vehicle = make.make_vehicle(severe_use=before)
    url = f"/vehicles/{vehicle.pk}/change/"
    opened = form(at_desk.get(url))
    changed = {name: text for name, text in form(as_manager.get(url)).items() if name != "severe_use"}
    as_manager.post(url, changed | {"plate": "LG 2"} | ({"severe_use": "on"} if then else {}))
    late = at_desk.post(url, opened | {"plate": "LG 3"})
    assert late.status_code == 409
    assert (f"Severe use {'yes' if then else 'no'}" in words(late)) is told
