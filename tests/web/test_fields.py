from datetime import UTC, datetime

import pytest
from django import forms
from django.core.exceptions import ValidationError

from shop.calc.units import Entered
from shop.dampers.measures import Measure
from shop.web.fields import DayField, MomentField, QuantityField
from tests.calc.reference import rows


class BenchForm(forms.Form):
    torque = QuantityField.of(Measure.SHAFT_NUT_TORQUE)
    depth = QuantityField.of(Measure.IFP_DEPTH, required=False)
    clicks = QuantityField.of(Measure.REBOUND_CLICKS, required=False)
    oil = QuantityField("volume", label="Oil", required=False, above_zero=True)


def filled(**typed):
    form = BenchForm({"torque": "18"} | typed)
    form.is_valid()
    return form


def test_a_bare_number_is_in_the_unit_of_the_shop():
    assert filled(torque="18").cleaned_data["torque"] == Entered("18", 18.0, "lbf·ft", 18 * 1.3558179483314004)


def test_the_unit_of_the_shop_is_a_setting(settings):
    settings.SHOP_UNITS = settings.SHOP_UNITS | {"torque": "N·m"}
    form = filled(torque="24,4")
    assert form.cleaned_data["torque"] == Entered("24.4", 24.4, "N·m", 24.4)
    assert "in N·m" in form["torque"].as_field_group()


def test_another_unit_may_stand_behind_the_number():
    entered = filled(torque="24.4 N-m", depth="3 1/2").cleaned_data
    assert (entered["torque"].figures, entered["torque"].unit, entered["torque"].si) == ("24.4", "N·m", 24.4)
    assert (entered["depth"].figures, entered["depth"].unit) == ("3 1/2", "in")
    assert entered["depth"].si == pytest.approx(0.0889)  # 3.5 × 25.4 mm, exact by definition (NIST SP 811)


def test_an_empty_field_that_may_be_empty_is_nothing():
    assert filled().cleaned_data["depth"] is None


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        ("torque", "", "Nothing is typed here. Type a number."),
        ("torque", "tight", "Shaft nut torque: “tight” cannot be read. Give a number such as 18 or 18.2 lbf·ft."),
        ("torque", "18 psi", "Shaft nut torque: “18 psi” cannot be read. Give the number in"),
        ("torque", "-18", "Shaft nut torque cannot be -18 lbf·ft. Give zero or more."),
        ("torque", "1,234", "the comma could mean either"),
        ("torque", "9" * 10_000, "cannot be read"),
        ("torque", "1." + "1" * 30, "Give at most 20 figures."),
        ("torque", "1e400", "a number of ordinary size"),
        ("torque", "nan", "cannot be read"),
        ("clicks", "2.5", "cannot be 2.5 clicks. Give a whole number of clicks."),
        ("oil", "0", "Oil cannot be 0 mL. Give more than zero."),
    ],
)
def test_a_refusal_says_what_is_allowed_and_keeps_what_was_typed(name, typed, told):
    form = filled(**{name: typed})
    assert told in form.errors[name][0]
    assert form[name].value() == typed


def test_the_page_shows_the_unit_beside_the_input_and_asks_for_the_right_keys():
    form = BenchForm()
    group = form["depth"].as_field_group()
    assert 'inputmode="decimal"' in group
    assert '<span class="unit" aria-hidden="true">in</span>' in group
    assert 'inputmode="numeric"' in form["clicks"].as_field_group()


def test_a_quantity_to_start_with_is_written_without_the_unit_of_the_shop():
    form = BenchForm(initial={"torque": Entered("18", 18.0, "lbf·ft", 24.4), "depth": Entered("86", 86.0, "mm", 0.086)})
    assert form["torque"].value() == "18"
    assert form["depth"].value() == "86 mm"


class DayForm(forms.Form):
    day = DayField()
    moment = MomentField()


@pytest.mark.parametrize(
    ("typed", "name", "told"),
    [
        ({"day": "2026-02-30"}, "day", "This is no day of the calendar. Write it like 2026-11-25."),
        ({"day": "0001-01-01"}, "day", "cannot be right. Give a day from 1990 to 2100."),
        ({"moment_0": "9999-12-31"}, "moment", "31 December 9999 cannot be right. Give a day from 1990 to 2100."),
        ({"moment_1": "25:00"}, "moment", "This is no time of day. Write it like 16:00."),
        ({"moment_1": ""}, "moment", "Give the day and the time."),
        # America/Denver, 2026: clocks go from 02:00 to 03:00 on 8 March (US Energy Policy Act of 2005, in tz database).
        ({"moment_0": "2026-03-08", "moment_1": "02:30"}, "moment", "On 8 March 2026 the clocks change: 02:30"),
    ],
)
def test_a_day_or_time_that_cannot_be_is_refused_with_what_was_typed(typed, name, told):
    data = {"day": "2026-11-25", "moment_0": "2026-11-28", "moment_1": "16:00"} | typed
    form = DayForm(data)
    assert told in form.errors[name][0]
    key = next(iter(typed))
    assert f'value="{typed[key]}"' in str(form[name]) or typed[key] == ""


def test_a_moment_is_in_the_time_zone_of_the_shop():
    form = DayForm({"day": "2026-11-25", "moment_0": "2026-11-28", "moment_1": "16:00"})
    assert form.is_valid()
    assert form.cleaned_data["moment"] == datetime(2026, 11, 28, 23, 0, tzinfo=UTC)  # America/Denver is UTC−7 in winter


TIMES = {(one.values[0]["input"], one.values[0]["zone"]): one.values[0] for one in rows("calendar", "local_to_utc")}


@pytest.mark.parametrize("row", rows("calendar", "wall_time_kind"))
def test_a_time_of_the_wall_clock_is_the_moment_it_names_or_is_asked_again(row, settings):
    """Source: IANA time zone database, PEP 495; exact. Hours that come twice or never name no moment."""
    settings.TIME_ZONE = row["zone"]
    day, time = row["input"].split("T")
    if row["expected"] != "normal":
        with pytest.raises(ValidationError) as refused:
            MomentField().clean([day, time])
        assert refused.value.code == "clocks_change"
        return
    wanted = datetime.fromisoformat(TIMES[row["input"], row["zone"]]["expected"])
    assert MomentField().clean([day, time]) == wanted
