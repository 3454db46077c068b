"""In which order locks are taken when a booking loses a damper. SQLite has one writer, and so no order to prove."""

import pytest
from django.db import transaction

from shop.parts.models import Part
from shop.workorders.services import drop_damper
from tests import factories as make
from tests.factories import NOON
from tests.racing import queued_behind
from tests.workorders.test_rebooking import change


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    "take_off",
    [
        lambda off, kept: drop_damper(job=off, why="sold", by=make.make_user("desk"), at=NOON),
        lambda off, kept: change(off.order, dampers=[kept.damper]),
    ],
)
def test_taking_a_damper_off_locks_all_parts_in_one_order(take_off):
    models = [make.make_damper_model() for _ in range(2)]
    parts = [make.make_part(number, on_hand=1) for number in ("SK-1", "SK-2")]
    for model, part in zip(models, parts, strict=True):
        make.make_kit_line(model, part.number)
    customer = make.make_customer()
    dampers = [make.make_damper(model=model, customer=customer) for model in models]
    order = make.make_order(dampers=dampers)
    kept, off = order.jobs.select_related("damper", "order")
    with transaction.atomic():
        Part.objects.select_for_update().get(pk=parts[0].pk)
        done = queued_behind(lambda: take_off(off, kept))
        # Whoever has the first part is given the second: nobody waits in a circle.
        Part.objects.select_for_update(nowait=True).get(pk=parts[1].pk)
    done.result(timeout=30)
    assert [line.part_number for line in order.pick_list.lines.all()] == ["SK-1"]
    assert not parts[1].reservations.filter(state="held").exists()
