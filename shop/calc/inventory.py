"""When to order a part again, and how many at a time.

Amounts are in one unit throughout (pieces, containers, base units), time in days or years as the names say, money in
one currency. Demand per day and its deviation come from what was taken, day by day, days without use included.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from statistics import NormalDist, fmean, stdev

from shop.calc.errors import OutOfRange, require

POSITIVE = "a number above zero"
NOT_NEGATIVE = "zero or more"


@dataclass(frozen=True, slots=True)
class Demand:
    """What a part is asked for, per calendar day.

    mean and deviation are of the daily totals; total was taken in days; occasions are days on which any was;
    largest is the most that went at one time.
    """

    mean: float
    deviation: float
    total: float
    days: int
    occasions: int
    largest: float


def demand(taken: Iterable[tuple[date, float]], first: date, last: date) -> Demand:
    """Demand per day from what was taken between two days, both included; each entry is what went at one time.

    mean = total / days; deviation = sample standard deviation of the daily totals (n - 1), days without use counting as
    zero, 0 for a single day. Entries outside the two days are left out. Raises OutOfRange when last is before first or
    an amount is not finite or below zero. Source: sample mean and standard deviation, any textbook of statistics.
    """
    if last < first:
        raise OutOfRange("last", last.isoformat(), f"{first.isoformat()} or a later day")
    days = (last - first).days + 1
    totals: dict[date, float] = {}
    largest = 0.0
    for day, amount in taken:
        amount = require("amount", amount, 0, allowed=NOT_NEGATIVE)
        if first <= day <= last and amount:
            totals[day] = totals.get(day, 0.0) + amount
            largest = max(largest, amount)
    daily = [*totals.values(), *[0.0] * (days - len(totals))]
    deviation = stdev(daily) if days > 1 else 0.0
    return Demand(fmean(daily), deviation, math.fsum(totals.values()), days, len(totals), largest)


def service_factor(service_level: float) -> float:
    """Standard deviations to keep in hand so that a share of all waits for a delivery ends without running out.

    z = inverse of the standard normal distribution; 0.95 gives 1.645. Raises OutOfRange unless
    0.5 <= service_level < 1: below one half one would plan to run out. Source: normal distribution, tables in any
    textbook of statistics.
    """
    level = require("service_level", service_level, 0.5, 1, below=True, allowed="0.5 or more and less than 1")
    return NormalDist().inv_cdf(level) if level > 0.5 else 0.0


def safety_stock(
    demand_per_day: float,
    demand_deviation_per_day: float,
    lead_days: float,
    lead_deviation_days: float,
    service_level: float,
) -> float:
    """What to keep in hand against more demand, or a longer wait, than usual.

    z(service_level) * sqrt(L s² + d² s_L²): demands of different days independent of each other and of the lead time,
    their sum over the lead time taken as normal. That holds for parts taken often; of one taken a few times a year
    keep at least what goes at one time, whatever this says. Raises OutOfRange unless all are finite and zero or more,
    and as service_factor does. Source: standard textbooks of inventory, such as Silver, Pyke, Thomas, Inventory and
    Production Management (from memory).
    """
    mean = require("demand_per_day", demand_per_day, 0, allowed=NOT_NEGATIVE)
    spread = require("demand_deviation_per_day", demand_deviation_per_day, 0, allowed=NOT_NEGATIVE)
    lead = require("lead_days", lead_days, 0, allowed=NOT_NEGATIVE)
    lead_spread = require("lead_deviation_days", lead_deviation_days, 0, allowed=NOT_NEGATIVE)
    z = service_factor(service_level)
    return z * math.hypot(math.sqrt(lead) * spread, mean * lead_spread)


def reorder_point(
    demand_per_day: float,
    demand_deviation_per_day: float,
    lead_days: float,
    lead_deviation_days: float,
    service_level: float,
) -> float:
    """Order when no more than this is left, counting what is on order and not what is held for somebody.

    d L + safety_stock(...); with no deviations, or at a service level of one half, the demand during the lead time
    alone. Raises OutOfRange and has its source as safety_stock.
    """
    kept = safety_stock(demand_per_day, demand_deviation_per_day, lead_days, lead_deviation_days, service_level)
    return float(demand_per_day) * float(lead_days) + kept


def order_quantity(demand_per_year: float, order_cost: float, holding_cost_per_year: float) -> float:
    """How many to order at a time, so that ordering and keeping cost least together (economic order quantity).

    sqrt(2 D K / h): D units a year, K money for one order whatever its size, h money to keep one unit for a year.
    Steady demand, one price whatever the quantity, no shortages; the cost is flat around it, so rounding to a pack does
    little harm. Raises OutOfRange unless D and K are zero or more and h is above zero. Source: Harris 1913.
    """
    per_year = require("demand_per_year", demand_per_year, 0, allowed=NOT_NEGATIVE)
    per_order = require("order_cost", order_cost, 0, allowed=NOT_NEGATIVE)
    keeping = require("holding_cost_per_year", holding_cost_per_year, 0, above=True, allowed=POSITIVE)
    return math.sqrt(2 * per_year * per_order / keeping)


def order_quantity_cost(demand_per_year: float, order_cost: float, holding_cost_per_year: float) -> float:
    """What ordering and keeping cost a year at the order quantity that costs least: sqrt(2 D K h).

    Raises OutOfRange and has its source as order_quantity.
    """
    order_quantity(demand_per_year, order_cost, holding_cost_per_year)
    return math.sqrt(2 * float(demand_per_year) * float(order_cost) * float(holding_cost_per_year))


def whole_packs(amount: int, unit: int, pack: int = 1, minimum: int = 1) -> int:
    """How many units of a size hold an amount, in whole packs and at least the least the supplier sends.

    amount and unit in one base unit; pack and minimum count units. The answer counts units, zero for an amount of zero.
    Raises OutOfRange unless amount is a whole number of zero or more and the others of one or more.
    """
    for field, value, least in (("amount", amount, 0), ("unit", unit, 1), ("pack", pack, 1), ("minimum", minimum, 1)):
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            raise OutOfRange(field, value, f"a whole number, {least} or more")
    if not amount:
        return 0
    units = max(-(-amount // unit), minimum)
    return -(-units // pack) * pack
