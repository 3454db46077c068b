import pytest

from shop.core.amounts import span, stock_amount, to_base_unit


@pytest.mark.parametrize(
    ("amount", "measure", "words"),
    [
        (4, "count", "4"),
        (335_500, "volume", "336 mL"),
        (500, "volume", "0.5 mL"),
        (2_000, "volume", "2 mL"),
        (4_000, "mass", "4 g"),
        (0, "volume", "0 mL"),
    ],
)
def test_an_amount_of_stock_in_words(amount, measure, words):
    assert stock_amount(amount, measure) == words


def test_an_amount_that_was_typed_becomes_whole_base_units():
    assert to_base_unit(0.000_946, "volume") == 946_000
    assert to_base_unit(0.004, "mass") == 4_000
    assert to_base_unit(4.0, "count") == 4


def test_a_shown_limit_is_never_wider_than_it_is():
    # 17.1 to 18.9 lbf·ft, a hair inside on both sides
    assert span(17.11 * 1.3558179483314004, 18.89 * 1.3558179483314004, "torque") == "17.2 to 18.8"
