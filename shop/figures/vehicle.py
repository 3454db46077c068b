"""Calculator of the number on the vehicle's plate."""

from shop.calc import vin
from shop.figures.answered import Answer, Figure, Sentence
from shop.figures.asked import Text
from shop.figures.calculator import Calculator


def plate(asked) -> Answer:
    found = vin.check(asked.number)
    figures = [Figure("verdict", "Does the check character fit", text="Yes" if found.ok else "No")]
    if found.reason == "letter_in_position_9":
        figures = [Figure("verdict", "Does the check character fit", text="Cannot be told")]
    if found.expected:
        figures.append(Figure("expected", "Check character of the rest", text=found.expected))
    figures.append(Figure("number", "Number as read", text=found.number or "nothing"))
    words = Sentence("The check fits.", "ok") if found.ok else Sentence(found.words, "care")
    return Answer(tuple(figures), (words,))


VIN = Calculator(
    name="vin",
    group="Vehicle",
    title="Check of a VIN",
    purpose="Whether the ninth character of a vehicle’s number fits the others: a slip of the pen shows.",
    inputs=(
        Text(
            name="number",
            label="Number on the plate",
            example="1J9RP1A36A1644345",
            help="Blanks and hyphens do not matter.",
        ),
    ),
    work=plate,
    formula=("Sum of the characters’ values times their weights, modulo 11; 10 is written X.",),
    validity="A warning, never a refusal: off-road machines may carry a number that fails by design. Characters of "
    "equal value swapped (A, J, 1) are not seen.",
    source="49 CFR 565.15(c)",
)

CALCULATORS = (VIN,)
