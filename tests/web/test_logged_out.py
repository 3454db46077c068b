"""Something sent without a log-in: nothing is lost on the way to logging in again."""

import pytest
from django.urls import reverse

from shop.customers.models import Customer
from tests.web.people import words

pytestmark = pytest.mark.django_db


def test_what_was_sent_without_a_log_in_is_not_lost_on_the_way_to_it(client):
    answer = client.post(reverse("desk:customer_new"), {"name": "Ines Calloway"})
    assert answer.status_code == 403
    assert "You were logged out" in words(answer)
    assert "What you typed is still in the page before this one" in words(answer)
    assert 'href="/log-in/" target="_blank"' in answer.text
    assert not Customer.objects.exists()


def test_a_page_that_is_only_opened_leads_to_the_log_in(client):
    assert client.get(reverse("desk:customer_new")).status_code == 302
