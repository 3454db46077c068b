"""Calculations: a card's figures beside its rendering, quantities beside pint, containers beside a greedy pass."""

import math
import random

import pint

from shop.calc import containers, units
from shop.calc.containers import Container, Cover, cover
from shop.documents import render
from shop.documents.selectors import card
from shop.documents.services import job_card
from tests.bench.documents import what_is_rendered
from tests.bench.measures import Measure, in_turns, milliseconds
from tests.documents.orders import make_checked_in, make_family
from tests.factories import NOON

ROUNDS = 20
CARD_ROUNDS = 9
QUANTITIES = 100_000
# Quantity, unit of the text, unit of the answer, each as we and as pint spell it; what both read.
SPELLINGS = (
    ("pressure", "psi", "kPa", "kPa"),
    ("pressure", "bar", "psi", "psi"),
    ("torque", "lbf*ft", "N·m", "N*m"),
    ("torque", "N*m", "lbf·in", "lbf*inch"),
    ("length", "inch", "mm", "mm"),
    ("length", "mm", "in", "inch"),
    ("volume", "mL", "qt", "quart"),
    ("volume", "L", "gal", "gallon"),
    ("distance", "mile", "km", "km"),
    ("spring_rate", "lbf/inch", "N/mm", "N/mm"),
)
# Millilitres and cents; prices are made up, a larger size costs less per litre, as on a shelf.
SHELF = (
    (250, 690), (500, 1190), (946, 1890), (1000, 1990), (3785, 6490), (4000, 6790), (10_000, 15_900), (20_000, 29_900)
)  # fmt: skip
NEEDS = 100


def measure():
    yield card_figures()
    yield quantities()
    yield container_cover()


def card_figures():
    """Everything that a card of four dampers says, queries included: charge today, ranges, picture, oil, parts."""
    sizes = {"reservoir_bore_m": 0.040, "cap_intrusion_m": 0.008, "shaft_m": 0.016, "stroke_m": 0.13}
    model = make_family(**sizes, highest_gas_pa=4e6, spring_rate_n_per_m=44e3)
    order = make_checked_in(model=model, bench_temperature=units.parse("43 °F", "temperature"))
    for damper in card(order).dampers:
        assert damper.picture, "the picture has to be drawn"
        assert any(figure.aim for figure in damper.figures), "the charge of today has to be told"
    with what_is_rendered() as written:
        job_card(order=order, at=NOON)
    (html,) = written
    figures, rendering = in_turns(CARD_ROUNDS, lambda: card(order), lambda: render.write_pdf(html))
    how = f"{milliseconds(figures)} : {milliseconds(rendering)}; medians of {CARD_ROUNDS} in turns, queries included"
    return Measure("All figures of a card of 4 dampers : rendering its PDF", figures / rendering, 0.05, how)


def quantities():
    """Text to a float in another unit. Every round takes texts that neither has seen; both must answer the same."""
    registry = pint.UnitRegistry()
    size = QUANTITIES // ROUNDS
    batches = [_texts(random.Random(number), size) for number in range(ROUNDS + 1)]
    ours, theirs = iter(batches), iter(batches)
    answers = {"ours": [], "pint": []}

    def read_ours():
        answers["ours"] = [
            units.from_si(units.parse(text, quantity).si, unit) for text, quantity, unit, _ in next(ours)
        ]

    def read_pint():
        answers["pint"] = [registry.Quantity(text).to(unit).magnitude for text, _, _, unit in next(theirs)]
        assert all(math.isclose(*pair, rel_tol=1e-12) for pair in zip(*answers.values(), strict=True))

    our_time, pint_time = in_turns(ROUNDS, read_ours, read_pint, warm_up=1)
    how = f"{milliseconds(our_time)} : {milliseconds(pint_time)} for {size}; medians of {ROUNDS} in turns, same answers"
    return Measure(f"{QUANTITIES} quantities read and converted : bare pint", our_time / pint_time, 1.0, how)


def _texts(source, number):
    made = []
    for _ in range(number):
        quantity, unit, ours, theirs = source.choice(SPELLINGS)
        made.append((f"{source.uniform(1, 500):.{source.randint(0, 3)}f} {unit}", quantity, ours, theirs))
    return made


def container_cover():
    """The cheapest cover beside taking the cheapest size per litre as long as it fits, with the same checks."""
    shelf = [Container(size, size * 1000, cost) for size, cost in SHELF]
    needs = [random.Random(number).randint(55_000, 60_000) * 1000 for number in range(NEEDS - 1)] + [60_000_000]
    dearer = [(greedy(need, shelf).cost, cover(need, shelf).cost) for need in needs]
    assert all(quick >= exact for quick, exact in dearer)
    # Each amount by itself: a batch that outlasts the scheduler's slice would pay for whatever else the machine does.
    pairs = [
        in_turns(ROUNDS, lambda need=need: cover(need, shelf), lambda need=need: greedy(need, shelf)) for need in needs
    ]
    exact_time, greedy_time = (sum(column) for column in zip(*pairs, strict=True))
    missed = sum(quick > exact for quick, exact in dearer)
    how = (
        f"{milliseconds(exact_time)} : {milliseconds(greedy_time)} for {NEEDS} amounts, each median of {ROUNDS} "
        f"in turns; the greedy pass misses the cheapest set {missed} times"
    )
    return Measure("Exact containers out of 8 sizes : a greedy pass", exact_time / greedy_time, 10, how)


def greedy(need, shelf):
    containers._check(need, shelf, (), "cost")
    left, counts = need, {}
    for one in sorted(shelf, key=lambda one: one.cost / one.size):
        if number := left // one.size:
            counts[one.key] = number
            left -= number * one.size
    if left:
        one = min((one for one in shelf if one.size >= left), key=lambda one: one.cost)
        counts[one.key] = counts.get(one.key, 0) + 1
        left -= one.size
    cost = sum(one.cost * counts.get(one.key, 0) for one in shelf)
    return Cover((), counts, cost, -left, sum(counts.values()))
