"""Tools under calibration. 12 months: ISO 6789 for torque tools, from memory; for others common practice, no source."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.staff.models import AuditEntry
from shop.workorders.models import Tool
from shop.workorders.services import add_tool, record_calibration, record_reading, take_out_of_use
from tests import factories as make
from tests.factories import LBF_FT, NOON

pytestmark = pytest.mark.django_db


def add(by, low="5 lbf·ft", high="60 lbf·ft", **given):
    defaults = {"code": "TW-1", "kind": "torque_wrench", "calibrated_on": date(2026, 11, 20)}
    ends = {"low": parse(low, "torque"), "high": parse(high, "torque")}
    return add_tool(**defaults | ends | given, by=by, at=NOON)


def read_torque(job, tool, by):
    entered = parse("22 lbf·ft", "torque")
    return record_reading(job=job, measure="shaft_nut_torque", moment="set", entered=entered, tool=tool, by=by, at=NOON)


def test_a_torque_is_read_with_a_tool_in_calibration_and_not_after_it_was_taken_out_of_use(manager, technician, second):
    damper = make.make_damper(model_year=2015)
    make.make_sheet(damper.model, torque=22)
    job = make.make_open_job(damper=damper)
    make.open_the_gate(job, technician, second)
    tool = add(manager)
    assert (tool.low_si, tool.calibration_due_on) == (pytest.approx(5 * LBF_FT), date(2027, 11, 20))
    for why in ("dropped", "said again"):
        take_out_of_use(tool=tool, why=why, by=manager, at=NOON)
    with pytest.raises(ValidationError, match="TW-1 is out of use"):
        read_torque(job, Tool.objects.get(), technician)
    record_calibration(tool=tool, calibrated_on=date(2026, 11, 24), by=manager, at=NOON)
    assert read_torque(job, Tool.objects.get(), technician).tool == tool
    told = AuditEntry.objects.filter(kind="tool", key=str(tool.pk)).order_by("pk").values_list("what", flat=True)
    assert list(told) == [
        "entered: torque wrench, 5 lbf·ft to 60 lbf·ft, calibrated on 20 November 2026, due on 20 November 2027",
        "out of use: dropped",
        "calibrated on 24 November 2026, due on 24 November 2027, in use again",
    ]


def test_twelve_months_after_a_leap_day_is_the_last_of_february(manager):
    assert add(manager, calibrated_on=date(2024, 2, 29)).calibration_due_on == date(2025, 2, 28)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"code": "tw-0"}, "TW-0 is a torque wrench already"),
        ({"code": " "}, "cannot be blank"),
        ({"high": "5 lbf·ft"}, "give more than 5 lbf·ft"),
        ({"calibrated_on": date(2026, 11, 26)}, "26 November 2026 lies in the future"),
        ({"calibration_due_on": date(2026, 11, 20)}, "20 November 2026 is not after the calibration"),
        ({"kind": "hammer"}, "not a valid choice"),
    ],
)
def test_a_tool_that_cannot_be_is_refused_and_leaves_no_trace(manager, given, told):
    make.make_tool(code="TW-0")
    with pytest.raises(ValidationError, match=told):
        add(manager, **given)
    assert Tool.objects.count() == 1
    assert not AuditEntry.objects.exists()


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"calibrated_on": date(2026, 11, 26)}, "lies in the future"),
        ({"calibrated_on": date(2026, 8, 16)}, "was calibrated on 17 August 2026, after 16 August 2026"),
        ({"calibration_due_on": date(2026, 11, 1)}, "is not after the calibration on 20 November 2026"),
    ],
)
def test_a_calibration_that_cannot_be_is_refused_and_the_earlier_one_holds(manager, given, told):
    tool = make.make_tool()
    with pytest.raises(ValidationError, match=told):
        record_calibration(tool=tool, **{"calibrated_on": date(2026, 11, 20)} | given, by=manager, at=NOON)
    tool.refresh_from_db()
    assert tool.calibrated_on == date(2026, 8, 17)


def test_taking_a_tool_out_of_use_needs_a_reason(manager):
    tool = make.make_tool()
    with pytest.raises(ValidationError, match="why the tool is taken out of use"):
        take_out_of_use(tool=tool, why=" ", by=manager, at=NOON)
    tool.refresh_from_db()
    assert tool.in_use
