"""Bench time as people write it."""

from django import forms
from django.core.exceptions import ValidationError

from shop.calc.bench_time import hours

MOST_LIKE_HOURS = 12  # a bare number up to this may be the hours of somebody's day


class MinutesField(forms.Field):
    """Bench time as people write it: "90", "1:30", "1.5 h"; cleans to whole minutes. A bare number is minutes,
    unless it may as well be meant as the hours of a working day: then it is asked about.
    """

    default_error_messages = {
        "required": "Give the bench time in minutes, or as 1:30.",
        "invalid": "“%(value)s” is no bench time. Write minutes (90), hours and minutes (1:30), or hours (1.5 h).",
        "hours_or_minutes": "%(value)s: hours or minutes? Write %(value)s h or %(value)s min.",
    }

    def __init__(self, *, most=24 * 60, least=0, **kwargs):
        self.most, self.least = most, least
        kwargs.setdefault("widget", forms.TextInput({"autocomplete": "off"}))
        super().__init__(**kwargs)

    def prepare_value(self, value):
        return f"{value // 60}:{value % 60:02d}" if isinstance(value, int) else value

    def to_python(self, value):
        text = str(value or "").strip().lower().replace(",", ".")
        if not text:
            return None
        if text.isascii() and text.isdigit() and len(text) < 3 and 1 <= int(text) <= MOST_LIKE_HOURS:
            raise ValidationError(
                self.error_messages["hours_or_minutes"], code="hours_or_minutes", params={"value": int(text)}
            )
        try:
            minutes = _read_minutes(text)
        except ValueError:
            raise ValidationError(
                self.error_messages["invalid"], code="invalid", params={"value": str(value)[:30]}
            ) from None
        if not self.least <= minutes <= self.most:
            raise ValidationError(
                f"{str(value).strip()[:30]} cannot be right. Give from {hours(self.least)} to {hours(self.most)}.",
                code="range",
            )
        return minutes


def _read_minutes(text: str) -> int:
    if not text.isascii() or len(text) > 12:
        raise ValueError(text)
    if ":" in text:
        whole, rest = text.removesuffix("h").strip().split(":")
        if not whole.isdigit() or not rest.isdigit() or len(rest) != 2 or int(rest) > 59:
            raise ValueError(text)
        return int(whole) * 60 + int(rest)
    if text.endswith("h"):
        number = text.removesuffix("h").strip()
        if not number.replace(".", "", 1).isdigit():
            raise ValueError(text)
        minutes = float(number) * 60
        if abs(minutes - round(minutes)) > 1e-6:
            raise ValueError(text)
        return round(minutes)
    number = text.removesuffix("min").strip()
    if not number.isdigit():
        raise ValueError(text)
    return int(number)
