"""Calculators of the coil spring."""

from shop.calc import springs
from shop.calc.errors import OutOfRange
from shop.figures.answered import Answer, Figure, Sentence
from shop.figures.asked import Number, Quantity
from shop.figures.calculator import Calculator, in_own, less_than

GROUP = "Springs"
CAUTION = (
    "Stored spring energy.",
    "A compressor made for this spring, hooks opposite each other, its axis away from face and body; eye protection.",
)
HOOKE = "Hooke’s law"


def length(name, label, example, low=0.0, high=1.0, **more) -> Quantity:
    return Quantity(name=name, label=label, quantity="length", example=example, low=low, high=high, **more)


def rate(name, label, example="250 lbf/in", **more) -> Quantity:
    return Quantity(name=name, label=label, quantity="spring_rate", example=example, low=100, high=1e7, **more)


def energy(joules: float) -> Figure:
    return Figure("energy", "Energy stored in the spring", joules, unit="J", digits=1)


def coil(asked) -> Answer:
    less_than(asked, "wire", asked.mean_coil / 2, "half the mean coil diameter")
    found = springs.coil_rate(asked.wire, asked.mean_coil, asked.active_coils, asked.shear)
    return Answer((Figure("rate", "Spring rate", found, "spring_rate"),))


COIL = Calculator(
    name="spring-rate",
    group=GROUP,
    title="Rate of a coil spring",
    purpose="The rate of an unmarked spring, from wire, coil diameter and number of coils.",
    inputs=(
        length("wire", "Wire diameter", "0.42 in", 0.0005, 0.1),
        length("mean_coil", "Mean coil diameter", "3.2 in", 0.002, 0.5, help="Outside diameter less one wire."),
        Number(name="active_coils", label="Active coils", example="7.5", low=1, high=50, help="Free to move."),
        Quantity(
            name="shear",
            label="Shear modulus of the wire",
            quantity="pressure",
            example="79300 MPa",
            default="79300 MPa",
            fixed_unit="MPa",
            low=10e9,
            high=120e9,
            help="Spring steel: 79300 MPa.",
        ),
    ),
    work=coil,
    formula=("k = G d⁴ / (8 D³ n)",),
    validity="Round wire, 1 to 50 active coils, wire less than half the coil diameter, small deflection.",
    source="EN 13906-1; shear modulus: common practice, no source",
    caution=CAUTION,
)


def stack(asked) -> Answer:
    rates = [asked.rate1, asked.rate2]
    series = springs.series_rate(rates)
    figures = [
        Figure("series", "One on the other (series)", series, "spring_rate"),
        Figure("parallel", "Side by side (parallel)", springs.parallel_rate(rates), "spring_rate"),
    ]
    if asked.stop is not None:
        both = springs.Stack(asked.rate1, asked.rate2, asked.stop)
        moved = asked.preload + asked.travel
        figures += [
            Figure("crossover_force", "Force at the cross-over", both.crossover_n, "force"),
            Figure("crossover", "Both shortened by, at the cross-over", both.crossover_m, "length"),
            Figure("force", "Force at preload and travel", both.force(asked.preload, asked.travel), "force"),
            Figure("rate", "Rate there", both.rate_at(min(moved, 1.0)), "spring_rate"),
        ]
    else:
        force = series * (asked.preload + asked.travel)
        figures.append(Figure("force", "Force at preload and travel, in series", force, "force"))
    return Answer(tuple(figures))


STACK = Calculator(
    name="spring-stack",
    group=GROUP,
    title="Two springs and their cross-over",
    purpose="Rates of two springs together, where the stop takes one out, and the force at a travel.",
    inputs=(
        rate("rate1", "Rate of the spring with the stop", "150 lbf/in"),
        rate("rate2", "Rate of the other spring", "300 lbf/in"),
        length("stop", "Way of the first spring to its stop", "2 in", 0.0005, required=False),
        length("preload", "Preload of the stack", "0.5 in", default="0 in", high=0.5),
        length("travel", "Travel of the damper", "4 in", default="0 in", high=0.5),
    ),
    work=stack,
    formula=(
        "Series 1 / (1/k₁ + 1/k₂); parallel k₁ + k₂.",
        "Cross-over at force k₁ s, both shortened by s (k₁ + k₂) / k₂; from there k₂ alone.",
    ),
    validity="Straight springs of one rate each; coils do not touch.",
    source=HOOKE,
    caution=CAUTION,
    blame={"rate1_n_per_m": "rate1", "rate2_n_per_m": "rate2", "stop_m": "stop"},
)


def preload(asked) -> Answer:
    if (asked.length is None) == (asked.force is None):
        raise OutOfRange("length", None, "either the preload length or the force, one of the two")
    if asked.force is None:
        force = springs.preload_force(asked.rate, asked.length)
        shortened, first = asked.length, Figure("force", "Preload force", force, "force")
    else:
        shortened = springs.preload_length(asked.rate, asked.force)
        first = Figure("length", "Preload length", shortened, "length")
    if shortened > 1:
        raise OutOfRange("force", None, "a force that shortens the spring by less than a metre")
    return Answer((first, energy(springs.stored_energy(asked.rate, shortened))))


PRELOAD = Calculator(
    name="spring-preload",
    group=GROUP,
    title="Preload as length or force",
    purpose="The force behind a preload length, or the length that gives a force.",
    inputs=(
        rate("rate", "Spring rate"),
        length("length", "Preload length", "0.5 in", required=False),
        Quantity(
            name="force",
            label="Preload force",
            quantity="force",
            example="125 lbf",
            low=0,
            high=1e5,
            required=False,
            help="Instead of the length.",
        ),
    ),
    work=preload,
    formula=("F = k x; x = F / k; energy k x² / 2.",),
    validity="A spring of one rate, coils not touching.",
    source=HOOKE,
    caution=CAUTION,
    left_out=frozenset({"force"}),
)


def ring(asked) -> Answer:
    less_than(asked, "preload", asked.found_free, "the free length of the spring found")
    shortened = springs.preload_length(asked.fitted_rate, springs.preload_force(asked.found_rate, asked.preload))
    if shortened >= asked.fitted_free:
        force = in_own(asked.fitted_rate * asked.fitted_free, "force")
        raise OutOfRange("preload", None, f"a preload the fitted spring can give: it is flat at {force}")
    place = springs.restored_ring_position(
        asked.ring,
        asked.preload,
        springs.Spring(asked.found_rate, asked.found_free),
        springs.Spring(asked.fitted_rate, asked.fitted_free),
        asked.collar_change,
    )
    return Answer(
        (
            Figure("ring", "Set the ring at", place, "length"),
            Figure("moved", "against as found", place - asked.ring, "length", signed=True),
            Figure("preload", "The fitted spring is then shortened by", shortened, "length"),
            Figure("force", "Preload force, the same as found", asked.found_rate * asked.preload, "force"),
            energy(springs.stored_energy(asked.fitted_rate, shortened)),
        ),
        (Sentence("Measured from the same datum as found; larger means turned toward the spring."),),
    )


RING = Calculator(
    name="spring-ring",
    group=GROUP,
    title="Ring position after a change",
    purpose="Where the retaining ring gives the preload force as found, with another spring or collar.",
    inputs=(
        length("ring", "Ring as found, from the datum", "3.25 in"),
        length("preload", "Preload as found", "0.5 in"),
        rate("found_rate", "Rate of the spring found", "250 lbf/in"),
        length("found_free", "Free length of the spring found", "10 in", 0.01),
        rate("fitted_rate", "Rate of the spring to fit", "300 lbf/in"),
        length("fitted_free", "Free length of the spring to fit", "10 in", 0.01),
        length("collar_change", "New collar higher by", "0 in", -0.2, 0.2, default="0 in", help="Minus if lower."),
    ),
    work=ring,
    formula=("ring + (free₁ − x₁) − (free₂ − x₂) − collar change, with x₂ = k₁ x₁ / k₂.",),
    validity="Springs of one rate each; the ring’s length grows as it is turned toward the spring.",
    source=HOOKE,
    caution=CAUTION,
)

CALCULATORS = (COIL, STACK, PRELOAD, RING)
