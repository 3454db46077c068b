"""What the readings of a meter tell: how much a vehicle is used, and whether a new figure fits. Writes nothing."""

from collections.abc import Sequence
from datetime import date

from django.utils.formats import date_format

from shop.calc import usage
from shop.calc.errors import CalcError
from shop.calc.units import Entered, from_si
from shop.core.amounts import shop_unit
from shop.customers.models import METER_QUANTITY, Meter, MeterReading

# Above this a figure is a typing error. Distance: common practice, no source. Hours: a day has no more.
MOST_PER_DAY_SI = {Meter.DISTANCE: 800e3, Meter.HOURS: 24 * 3600}
# More than so many times the usual rate is asked about before it is believed, but not a long weekend's riding, nor,
# where no usual rate is known, such days one after the other. Common practice, no source.
DOUBTFUL_RATE = 5
LONG_DAY_SI = {Meter.DISTANCE: 160e3, Meter.HOURS: 8 * 3600}
LONG_WEEKEND_DAYS = 4


def usage_of(meter: Meter, readings: Sequence[MeterReading]) -> usage.Usage:
    """Rate of use in the shop's unit per day. Raises CalcError for values no meter shows."""
    unit = shop_unit(METER_QUANTITY[meter])
    points = [(one.read_on, from_si(one.value_si, unit)) for one in readings if one.meter == meter]
    return usage.estimate(points, most_per_day=from_si(MOST_PER_DAY_SI[meter], unit))


def doubt(meter: Meter, entered: Entered, on: date, readings: Sequence[MeterReading]) -> str:
    """A question about a figure that hardly fits the earlier ones; empty when it fits."""
    quantity = METER_QUANTITY[meter]
    earlier = [one for one in readings if one.meter == meter]
    try:
        used = usage_of(meter, earlier)
    except CalcError:
        return ""
    if used.last_on is None:
        return ""
    now, unit = from_si(entered.si, shop_unit(quantity)), shop_unit(quantity)
    last = f"{used.last_value:g} {unit} on {date_format(used.last_on, 'j F Y')}"
    if now < used.last_value:
        return (
            f"{entered} is less than the {last} that we have. Look once more. If the meter was changed, or we noted "
            "it wrongly, confirm the figure below."
        )
    since = max((on - used.last_on).days, 1)
    long_day = from_si(LONG_DAY_SI[meter], unit)
    if used.rate:
        most = max(DOUBTFUL_RATE * used.rate * since, long_day * min(since, LONG_WEEKEND_DAYS))
    else:
        most = long_day * since
    if now - used.last_value > most:
        return (
            f"{entered} is much more than the {last} that we have. Look once more: is there a digit too many? If the "
            "figure is right, confirm it below."
        )
    return ""
