"""The catalogue corrected on its pages: nothing typed is lost, nobody is overwritten, every gap is told in words."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel, Position
from tests import factories as make
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]


def page_of(name, *keys):
    return reverse(f"manage:{name}", args=[getattr(key, "pk", key) for key in keys])


@pytest.fixture
def ridge():
    return make.make_vehicle_model(maker="Ostrander", name="Ridge 900", year_from=2010, year_to=2018)


# --- vehicle models ---------------------------------------------------------------------------------------------------


def test_a_vehicle_model_is_corrected_and_its_history_says_what_it_was(as_manager, ridge):
    url = page_of("vehicle_model_change", ridge)
    assert form(as_manager.get(url))["year_from"] == "2010"
    answer = send(as_manager, url, name="Ridge 950", year_to="")
    page = words(as_manager.get(answer.url))
    assert "It is Ostrander Ridge 950 now, built from 2010." in page
    assert "changed: Ostrander Ridge 900, built 2010 to 2018; now Ostrander Ridge 950, built from 2010" in page


def test_years_without_the_vehicles_of_the_book_are_refused_and_stay_in_the_form(as_manager, ridge):
    make.make_vehicle(model=ridge, customer=make.make_customer(name="Ines Calloway"))
    answer = send(as_manager, page_of("vehicle_model_change", ridge), name="Ridge 950", year_to="2014")
    assert answer.status_code == 422
    assert "A vehicle of the book would be left outside these years: 2015 of Ines Calloway." in words(answer)
    assert form(answer)["name"] == "Ridge 950"
    assert str(VehicleModel.objects.get()) == "Ostrander Ridge 900"


def test_the_second_of_two_managers_sees_what_the_first_one_wrote(as_manager, ridge):
    url = page_of("vehicle_model_change", ridge)
    opened = form(as_manager.get(url))
    send(as_manager, url, name="Ridge 950")
    answer = as_manager.post(url, opened | {"year_to": "2019"})
    assert answer.status_code == 409
    assert "The book says now Model Ridge 950 To model year 2018" in words(answer)
    assert form(answer)["year_to"] == "2019"
    assert as_manager.post(url, form(answer) | {"name": "Ridge 950"}).status_code == 302
    assert VehicleModel.objects.get().years() == "2010 to 2019"


def test_a_model_without_vehicles_is_removed_after_a_question_and_one_with_them_says_why_not(as_manager, ridge):
    url, used = page_of("vehicle_model_remove", ridge), make.make_vehicle().model
    asked = as_manager.post(url, form(as_manager.get(page_of("vehicle_model", ridge)), "/remove/"))
    assert "Remove Ostrander Ridge 900 from the catalogue?" in words(asked)
    assert VehicleModel.objects.filter(pk=ridge.pk).exists()
    assert "Ostrander Ridge 900 is out of the catalogue." in words(as_manager.post(url, form(asked), follow=True))
    assert list(VehicleModel.objects.all()) == [used]

    page = as_manager.get(page_of("vehicle_model", used))
    assert f"{used} cannot be removed, because of 1 vehicle (2015 of" in words(page)
    assert page_of("vehicle_model_remove", used) not in page.content.decode()
    forced = as_manager.post(page_of("vehicle_model_remove", used), {"sure": "yes"}, follow=True)
    assert "cannot be removed, because of 1 vehicle" in words(forced)
    assert list(VehicleModel.objects.all()) == [used]


# --- what sits where --------------------------------------------------------------------------------------------------


def test_the_table_by_year_and_corner_tells_its_gaps_in_words(at_bench, ridge):
    h2 = make.make_damper_model(name="H2")
    live = make.make_damper_model(maker="Quoin", name="Live 3", serviceable=False, why_not="It needs the maker.")
    for position in (Position.FRONT_LEFT, Position.FRONT_RIGHT, Position.REAR_RIGHT):
        make.make_fitment(ridge, position, live)
    make.make_fitment(ridge, Position.REAR_LEFT, h2, year_to=2012)
    make.make_fitment(ridge, Position.REAR_LEFT, h2, year_from=2014)
    page = words(at_bench.get(page_of("vehicle_model", ridge)))
    assert "2013: nothing known at rear left." in page
    row = "Quoin Live 3 Not serviced here"
    assert f"2010 to 2012 {row} {row} Hallinde H2 {row} 2013 {row} {row} nothing known {row} 2014 to 2018" in page
    assert "2013: nothing known at rear left." in words(at_bench.get(page_of("vehicle_models")))
    assert "in some years or all: Ostrander Ridge 900." in words(at_bench.get(page_of("catalogue")))


def test_an_entry_is_corrected_and_copied_on_pages_of_its_own(as_manager, ridge):
    old, new = make.make_damper_model(name="H1"), make.make_damper_model(name="H2")
    fitment = make.make_fitment(ridge, Position.FRONT_LEFT, old)
    change, copy = (page_of(name, ridge, fitment) for name in ("fitment_change", "fitment_copy"))
    assert "It says: front left, Hallinde H1, model years from 2010." in words(as_manager.get(change))
    answer = send(as_manager, change, damper_model=new.pk, year_to="2014")
    assert "Corrected: front left, Hallinde H2, model years 2010 to 2014." in words(as_manager.get(answer.url))
    assert "front_left" not in as_manager.get(copy).content.decode()
    answer = send(as_manager, copy, positions=["front_right", "rear_left"])
    told = words(as_manager.get(answer.url))
    assert "Hallinde H2 is entered: front right and rear left, model years 2010 to 2014." in told
    assert "2010 to 2014: nothing known at rear right." in told
    again = send(as_manager, copy, positions=["rear_left"])
    assert again.status_code == 422
    assert "Rear left: the Hallinde H2 sits there from 2010 to 2014" in words(again)
    other = make.make_vehicle_model()
    assert as_manager.get(page_of("fitment_change", other, fitment)).status_code == 404


def test_a_stale_correction_of_an_entry_is_told_what_it_says_now(as_manager, ridge):
    old, new = make.make_damper_model(name="H1"), make.make_damper_model(name="H2")
    url = page_of("fitment_change", ridge, make.make_fitment(ridge, Position.FRONT_LEFT, old))
    opened = form(as_manager.get(url))
    send(as_manager, url, damper_model=new.pk, position="rear_left")
    answer = as_manager.post(url, opened)
    assert answer.status_code == 409
    assert "The book says now Corner Rear left Damper model Hallinde H2" in words(answer)


# --- damper models ----------------------------------------------------------------------------------------------------


def test_a_damper_model_that_is_saved_as_it_was_is_not_called_changed(as_manager):
    model = make.make_damper_model(name="H22")
    page = words(as_manager.get(send(as_manager, page_of("damper_model_change", model)).url))
    assert "Hallinde H22 stays as it was: nothing was changed." in page


def test_a_damper_model_is_corrected_with_the_cap_that_decides_its_steps(as_manager):
    model = make.make_damper_model(name="H22")
    assert "Cap over the IFP not known" in words(as_manager.get(page_of("damper_model", model)))
    answer = send(as_manager, page_of("damper_model_change", model), name="H2", cap_style="ring")
    page = words(as_manager.get(answer.url))
    assert "Hallinde H2 is changed." in page
    assert "Cap over the IFP Cap under a snap ring" in page


def test_the_second_of_two_managers_reads_choices_as_the_form_says_them(as_manager):
    url = page_of("damper_model_change", make.make_damper_model())
    opened = form(as_manager.get(url))
    send(as_manager, url, construction="internal", serviceable="no", why_not="No parts to be had.")
    told = words(as_manager.post(url, opened))
    assert "Construction monotube with IFP in the body" in told
    assert "Serviced here No Why not, and what the customer is told No parts to be had." in told


def test_a_model_that_is_not_serviced_any_more_names_the_booked_orders_until_they_are_called_off(as_manager):
    model = make.make_damper_model()
    customer = make.make_customer(name="Ines Calloway", phone="555-0121")
    order = make.make_order(dampers=[make.make_damper(customer=customer, model=model)])
    answer = send(as_manager, page_of("damper_model_change", model), serviceable="no", why_not="No parts to be had.")
    told = f"Booked, although it is not serviced here. Tell these customers: {order}, Ines Calloway, 555-0121."
    assert told in words(as_manager.get(answer.url))
    send(as_manager, page_of("damper_model_change", model), serviceable="yes", why_not="")
    assert "Booked, although" not in words(as_manager.get(answer.url))


def test_on_the_benches_the_construction_stays_and_the_page_names_the_order(as_manager):
    job = make.make_open_job()
    answer = send(as_manager, page_of("damper_model_change", job.damper.model), construction="emulsion")
    assert answer.status_code == 422
    assert f"is on the benches in {job.order}, with steps that hang on its construction" in words(answer)
    assert form(answer)["construction"] == "emulsion"


def test_adjusters_are_counted_corrected_and_refused_beside_their_field(as_manager, at_bench):
    model = make.make_damper_model()
    url, to = page_of("damper_model", model), page_of("adjusters", model)
    assert "None known: a count of clicks" in words(at_bench.get(url))
    send(as_manager, url, "adjusters/", to, **{"adjusters-low_speed": "18", "adjusters-rebound": "22"})
    assert "Low-speed compression 18 clicks Rebound 22 clicks" in words(at_bench.get(url))
    for typed, told in [
        ({"adjusters-rebound": "100"}, "Rebound cannot be 100 clicks"),
        ({"adjusters-rebound": "0"}, "Rebound cannot be 0 clicks"),
        ({"adjusters-rebound": "many"}, "“many” cannot be read"),
        ({"adjusters-compression": "20"}, "Compression is one adjuster or two"),
    ]:
        answer = send(as_manager, url, "adjusters/", to, **typed)
        assert answer.status_code == 422
        assert told in words(answer)
        assert typed.items() <= form(answer, "adjusters/").items()
    assert dict(model.adjusters.values_list("kind", "clicks")) == {"low_speed": 18, "rebound": 22}


def test_stale_adjusters_and_sizes_are_told_what_the_book_says_now(as_manager):
    model = make.make_damper_model()
    url = page_of("damper_model", model)
    opened, sizes = form(as_manager.get(url), "adjusters/"), form(as_manager.get(url), "sizes/")
    send(as_manager, url, "adjusters/", page_of("adjusters", model), **{"adjusters-rebound": "22"})
    answer = as_manager.post(page_of("adjusters", model), opened | {"adjusters-rebound": "24"})
    assert answer.status_code == 409
    assert "The book says now Rebound 22" in words(answer)
    assert as_manager.post(page_of("adjusters", model), form(answer, "adjusters/")).status_code == 302
    assert as_manager.post(page_of("sizes", model), sizes | {"sizes-shaft": "16 mm"}).status_code == 409
    assert DamperModel.objects.get().shaft_m is None


def test_the_oil_is_reckoned_from_the_sizes_that_are_known(as_manager):
    model = make.make_damper_model()
    url = page_of("damper_model", model)
    assert "Reckon the oil" not in words(as_manager.get(url))
    typed = {"sizes-body_bore": "2", "sizes-shaft": "16 mm"}
    send(as_manager, url, "sizes/", page_of("sizes", model), **typed)
    link = f"{reverse('tablet:figure', args=['oil-fill'])}?begun=1&amp;body_bore=2&amp;shaft=0.63"
    assert link in as_manager.get(url).content.decode()
    page = as_manager.get(link.replace("&amp;", "&"))
    assert page.status_code == 200
    assert 'value="2"' in page.content.decode()
    assert "aria-invalid" not in page.content.decode()


def test_a_page_of_a_vehicle_model_takes_as_many_queries_for_many_entries(as_manager, ridge, django_assert_num_queries):
    url = page_of("vehicle_model", ridge)
    make.make_fitment(ridge, Position.FRONT_LEFT, make.make_damper_model())
    with CaptureQueriesContext(connection) as few:
        as_manager.get(url)
    for position in Position.values[1:]:
        make.make_fitment(ridge, position, make.make_damper_model())
    with django_assert_num_queries(len(few)):
        as_manager.get(url)
