"""The OpenAPI document is valid, complete, and whatever it allows or forbids never ends in an error of ours."""

import re

import pytest
import schemathesis
from django.core.management import call_command
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from django.urls import reverse
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, Phase, settings
from openapi_spec_validator import validate
from rest_framework.authtoken.models import Token
from schemathesis.generation import GenerationMode

from api.urls import v1
from shop.parts.services import start_take
from shop.specs.models import Step
from shop.workorders.models import DamperJob
from tests import factories as make
from tests.api.shop import make_family, make_one_on_bench

document = SchemaGenerator().get_schema(request=None, public=True)
schema = schemathesis.openapi.from_dict(document)
schema.app, schema.location = get_wsgi_application(), "/api/schema/"
schema.config.generation.update(modes=[GenerationMode.POSITIVE, GenerationMode.NEGATIVE])


def test_the_document_is_valid_openapi_and_made_without_a_warning(tmp_path):
    call_command("spectacular", validate=True, fail_on_warn=True, file=str(tmp_path / "schema.yaml"))
    assert (tmp_path / "schema.yaml").read_text().startswith("openapi: 3.")
    validate(document)


def test_the_document_comes_as_yaml_and_as_json(client, desk):
    client.force_login(desk)
    assert client.get(reverse("api:schema")).content.startswith(b"openapi: 3.")
    assert client.get(reverse("api:schema"), {"format": "json"}).json()["paths"] == document["paths"]


def test_every_endpoint_is_in_the_document_with_its_refusals_and_who_may_call_it():
    described = {path: set(methods) for path, methods in document["paths"].items()}
    for one in v1:
        path = "/api/v1/" + re.sub(r"<int:(\w+)>", r"{\1}", str(one.pattern)).replace("{pk}", "{id}")
        assert described.pop(path) == {m for m in ("get", "post", "patch") if hasattr(one.callback.cls, m)}
        for operation in document["paths"][path].values():
            assert operation["summary"]
            refusal = operation["responses"]["400"]["content"]["application/json"]["schema"]
            assert refusal == {"$ref": "#/components/schemas/ErrorOutput"}
    assert described == {}


def test_every_write_but_the_log_in_may_carry_a_key():
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            names = {parameter["name"] for parameter in operation.get("parameters", [])}
            writes = method != "get" and "/token/" not in path and "/calculations/" not in path
            assert ("Idempotency-Key" in names) == writes


@pytest.fixture
def rows(db):
    """A token of everybody's powers, and for each part of the document a row that is there."""
    manager, family = make.make_user("manager"), make_family()
    job = DamperJob.objects.get(pk=make_one_on_bench(family, manager, manager, make.make_user("technician")))
    draft = make.make_draft(manager)
    receipt = make.make_delivery(manager)
    ids = {
        "customers": job.order.customer_id,
        "vehicles": job.order.vehicle_id,
        "dampers": job.damper_id,
        "damper-models": family["damper_model"].pk,
        "vehicle-models": family["vehicle_model"].pk,
        "kit-lines": family["damper_model"].kit_lines.first().pk,
        "work-orders": job.order_id,
        "jobs": job.pk,
        "pick-lines": job.order.pick_list.lines.first().pk,
        "parts": family["oil"].pk,
        "drums": (drum := make.make_drum()).pk,
        "used-oil": make.make_oil_entry(drum).pk,
        "movements": family["oil"].movements.first().pk,
        "stock-takes": start_take(parts=[family["kit"]], by=manager, at=make.NOON).pk,
        "sheets": family["damper_model"].sheets.first().pk,
        "fitments": family["vehicle_model"].fitments.first().pk,
        "procedures": draft.pk,
        "suppliers": receipt.order.supplier_id,
        "supplier-items": receipt.order.lines.get().item_id,
        "purchase-orders": receipt.order_id,
        "delivery-lines": receipt.lines.get().pk,
        "exchange": make.make_import_run(by=manager).pk,
        "bench-hours": make.make_bench_hours(person=manager).pk,
        "absences": make.make_absence(manager).pk,
        "closed-days": make.make_closed_day().pk,
        "questions": make.make_question(job.order, job, by=manager).pk,
        "photos": make.make_photo(job, by=manager).pk,
    }
    # The application as a server runs it closes its connection after a request; the test's transaction hangs on it.
    request_started.disconnect(close_old_connections)
    request_finished.disconnect(close_old_connections)
    yield Token.objects.get_or_create(user=manager)[0].key, ids
    request_started.connect(close_old_connections)
    request_finished.connect(close_old_connections)


@schema.parametrize()
@settings(
    max_examples=8, derandomize=True, database=None, deadline=None, phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)  # fmt: skip
def test_no_request_ends_in_an_error_of_ours(case, rows):
    token, ids = rows
    if "id" in case.path_parameters:
        case.path_parameters["id"] = ids[case.operation.path.split("/")[3]]
    if "step" in case.path_parameters:
        case.path_parameters["step"] = Step.objects.get(procedure=ids["procedures"], number=2).pk
    answer = case.call(headers={"Authorization": f"Token {token}"})
    assert answer.status_code < 500, answer.text
