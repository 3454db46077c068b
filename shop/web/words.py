"""How every face says things."""


def count(number: int, noun: str) -> str:
    """1 day, 2 days."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
