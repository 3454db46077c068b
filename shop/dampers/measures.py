"""What is specified, found and set on a damper: each with the quantity it is a value of."""

from django.conf import settings
from django.db import models


class Measure(models.TextChoices):
    SHAFT_NUT_TORQUE = "shaft_nut_torque", "Shaft nut torque"
    CHARGE = "charge", "Nitrogen charge"
    IFP_DEPTH = "ifp_depth", "IFP depth"
    OIL_VOLUME = "oil_volume", "Oil volume"
    COMPRESSION_CLICKS = "compression_clicks", "Compression, clicks out from closed"
    REBOUND_CLICKS = "rebound_clicks", "Rebound, clicks out from closed"
    PRELOAD_LENGTH = "preload_length", "Preload, datum to ring"


QUANTITY = {
    Measure.SHAFT_NUT_TORQUE: "torque",
    Measure.CHARGE: "pressure",
    Measure.IFP_DEPTH: "length",
    Measure.OIL_VOLUME: "volume",
    Measure.COMPRESSION_CLICKS: "count",
    Measure.REBOUND_CLICKS: "count",
    Measure.PRELOAD_LENGTH: "length",
}
# A spec sheet gives these; they are what a job is held against.
SPECIFIED = [Measure.SHAFT_NUT_TORQUE, Measure.CHARGE, Measure.IFP_DEPTH, Measure.OIL_VOLUME]
SPECIFIED_CHOICES = [(one.value, one.label) for one in SPECIFIED]
# Noted before work and again after it.
FOUND_AND_LEFT = [Measure.COMPRESSION_CLICKS, Measure.REBOUND_CLICKS, Measure.PRELOAD_LENGTH]


MOST_CLICKS = 99
# No damper of a side-by-side is set beyond these; such a figure is a slip of the finger or another unit. SI.
# Common practice, no source.
MOST_SI = {"torque": 200, "pressure": 3.5e6, "length": 0.5, "volume": 0.002, "count": MOST_CLICKS}


def in_a_sentence(measure: str) -> str:
    """A measure's name inside a sentence: "nitrogen charge", but "IFP depth"."""
    label = Measure(measure).label
    return label if label[:2].isupper() else label[:1].lower() + label[1:]


def shop_unit(measure: str) -> str:
    """The unit in which this shop reads and writes a measure."""
    return settings.SHOP_UNITS[QUANTITY[measure]]
