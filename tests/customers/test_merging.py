"""Two entries of one customer become one: nothing that hung on either is lost, whoever comes at the same moment."""

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import models, transaction

from shop.core.errors import Conflict
from shop.customers.merging import held, merge_customers, tables
from shop.customers.models import Consent, Customer, Vehicle
from shop.customers.services import create_vehicle, record_consent
from shop.dampers.models import Damper
from shop.dampers.services import create_damper
from shop.reminders.models import Reminder
from shop.staff.models import AuditEntry
from shop.workorders.services import pass_on_vehicle
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once, queued_behind


@pytest.fixture
def pair(db):
    stays = make.make_customer(name="Ines Calloway", phone="555-0142", email="ines@example.com", note="calls back")
    gone = make.make_customer(name="Ines Caloway", phone="", email="calloway@example.org", address="4 Cairn Lane")
    return stays, gone


def merge(stays, gone, by, **given):
    seen = {"versions": (gone.version, stays.version)}
    return merge_customers(gone=gone, stays=stays, by=by, at=NOON, **seen | given)


@pytest.mark.flow
def test_everything_moves_to_the_one_who_stays(pair, desk):
    stays, gone = pair
    vehicle = make.make_vehicle(customer=gone, forecast_stale=False)
    damper, loose = make.make_damper(vehicle), make.make_damper(customer=gone)
    order = make.make_order(dampers=[damper], by=desk)
    merged = merge(stays, gone, desk, keep_from_gone=["address"])
    for row in (vehicle, damper, loose, order):
        row.refresh_from_db()
        assert row.customer_id == stays.pk
    assert vehicle.forecast_stale
    assert held(gone) == []
    assert (merged.name, merged.address, merged.note) == ("Ines Calloway", "4 Cairn Lane", "calls back")
    gone.refresh_from_db()
    assert gone.merged_into == stays
    assert list(Customer.objects.present()) == [stays]
    for key, words in (
        (stays.pk, "merged into this one: 1 vehicle, 2 dampers, 1 work order"),
        (gone.pk, "merged into"),
    ):
        told = AuditEntry.objects.filter(kind="customer", key=str(key)).first()
        assert words in told.what
        assert told.who == str(desk)


def test_no_table_that_points_at_a_customer_is_forgotten(pair, desk):
    pointing = {
        (field.model, field.name)
        for model in apps.get_models()
        for field in model._meta.get_fields()
        if isinstance(field, models.ForeignKey) and field.related_model is Customer
    }
    assert {(one.related_model, one.field.name) for one in tables()} == pointing
    assert (Reminder, "customer") in pointing


@pytest.mark.parametrize(
    ("of_stays", "of_gone", "after"),
    [("yes", "no", "no"), ("no", "yes", "no"), ("not_asked", "yes", "yes"), ("yes", "not_asked", "yes"),
     ("not_asked", "not_asked", "not_asked"), ("no", "not_asked", "no")],
)  # fmt: skip
def test_a_no_to_reminders_stays_a_no(pair, desk, of_stays, of_gone, after):
    for row, consent in zip(pair, (of_stays, of_gone), strict=True):
        Customer.objects.filter(pk=row.pk).update(reminder_consent=consent)
    assert merge(*pair, desk).reminder_consent == after


def test_what_was_merged_before_leads_on(pair, desk):
    stays, gone = pair
    third = make.make_customer(name="I. Calloway")
    merge(gone, third, desk)
    gone.refresh_from_db()
    merge(stays, gone, desk)
    third.refresh_from_db()
    assert third.merged_into == stays


@pytest.mark.flow
def test_refusals_say_what_is_wrong(pair, desk):
    stays, gone = pair
    with pytest.raises(ValidationError, match="one and the same"):
        merge(stays, stays, desk)
    with pytest.raises(ValidationError, match="“consent” is none of"):
        merge(stays, gone, desk, keep_from_gone=["consent"])
    with pytest.raises(Conflict, match="changed Ines Caloway since"):
        merge(stays, gone, desk, versions=(7, 1))
    merge(stays, gone, desk)
    with pytest.raises(Conflict, match="was merged into Ines Calloway"):
        merge(gone, make.make_customer(), desk)
    with pytest.raises(Conflict, match="was merged into Ines Calloway"):
        create_vehicle(customer=gone, model=make.make_vehicle_model(), model_year=2015, by=desk, at=NOON)


def test_an_answer_by_an_old_link_counts_for_the_one_who_stays(pair, desk):
    stays, gone = pair
    merge(stays, gone, desk)
    record_consent(customer=gone, wants=False, by=None, at=NOON, how="by the link in the mail")
    stays.refresh_from_db()
    assert stays.reminder_consent == Consent.NO


@pytest.mark.flow
@pytest.mark.django_db(transaction=True)
def test_of_two_who_merge_each_into_the_other_one_is_told(pair, desk):
    stays, gone = pair
    outcomes = at_once(lambda: merge(stays, gone, desk), lambda: merge(gone, stays, desk))
    assert sum(isinstance(one, Conflict) for one in outcomes) == 1, outcomes
    assert Customer.objects.present().count() == 1


@pytest.mark.flow
@pytest.mark.django_db(transaction=True)
def test_a_booking_in_the_moment_of_a_merge_is_never_left_behind(pair, desk):
    stays, gone = pair
    damper = make.make_damper(customer=gone)
    outcomes = at_once(
        lambda: merge(stays, gone, desk), lambda: make.make_order(by=desk, dampers=[damper], customer=gone)
    )
    assert isinstance(outcomes[0], Customer), outcomes
    assert not isinstance(outcomes[1], Exception) or isinstance(outcomes[1], ValidationError), outcomes
    assert held(gone) == []
    damper.refresh_from_db()
    assert damper.customer_id == stays.pk


@pytest.mark.flow
@pytest.mark.django_db(transaction=True)
def test_a_vehicle_entered_in_the_moment_of_a_merge_is_never_left_behind(pair, desk):
    stays, gone = pair
    model = make.make_vehicle_model()
    outcomes = at_once(
        lambda: merge(stays, gone, desk),
        lambda: create_vehicle(customer=gone, model=model, model_year=2015, by=desk, at=NOON),
    )
    assert isinstance(outcomes[0], Customer), outcomes
    assert held(gone) == []


@pytest.mark.flow
def test_no_vehicle_is_passed_on_to_who_was_merged(pair, desk):
    stays, gone = pair
    vehicle = make.make_vehicle()
    merge(stays, gone, desk)
    with pytest.raises(Conflict, match="was merged into"):
        pass_on_vehicle(vehicle=vehicle, to=gone, by=desk, at=NOON)
    vehicle.refresh_from_db()
    assert vehicle.customer_id not in (gone.pk, stays.pk)


@pytest.mark.django_db(transaction=True)
def test_a_merge_locks_dampers_before_vehicles_as_a_change_of_owner_does(pair, desk):
    stays, gone = pair
    vehicle = make.make_vehicle(customer=gone)
    damper = make.make_damper(vehicle)
    with transaction.atomic():
        Damper.objects.select_for_update(of=("self",)).get(pk=damper.pk)
        merged = queued_behind(lambda: merge(stays, gone, desk))
        # Whoever has the damper is given the vehicle: nobody waits in a circle.
        Vehicle.objects.select_for_update(of=("self",), nowait=True).get(pk=vehicle.pk)
    assert merged.result(timeout=30) == stays


@pytest.mark.django_db(transaction=True)
def test_a_damper_entered_in_the_moment_of_a_merge_waits_for_its_vehicle_first(pair, desk):
    _, gone = pair
    vehicle, model = make.make_vehicle(customer=gone), make.make_damper_model()
    with transaction.atomic():
        Vehicle.objects.select_for_update(of=("self",)).get(pk=vehicle.pk)
        entered = queued_behind(
            lambda: create_damper(
                customer=gone, vehicle=vehicle, position="front_left", model=model, model_year=2015, by=desk, at=NOON
            )
        )
        Customer.objects.select_for_update(nowait=True).get(pk=gone.pk)
    assert entered.result(timeout=30).customer == gone
