"""What each paper says, a file per paper, gathered in the same few queries for any number of dampers.

Everything is text in the shop's units and time zone by the time it leaves here, so two papers say the same exactly when
their content is equal: the digest on a job card rests on that.
"""

from shop.documents.selectors.card import Card, card
from shop.documents.selectors.day_picks import DayPicksPaper, day_picks_paper
from shop.documents.selectors.oil_sheet import OilSheet, oil_sheet
from shop.documents.selectors.pick_list import PickPaper, pick_paper
from shop.documents.selectors.purchase import PurchasePaper, purchase
from shop.documents.selectors.record import Record, record
from shop.documents.selectors.stroke import Picture, picture
from shop.documents.selectors.tags import Tag, tags
from shop.documents.selectors.why import Why, why, why_oil

__all__ = [
    "Card",
    "DayPicksPaper",
    "OilSheet",
    "PickPaper",
    "Picture",
    "PurchasePaper",
    "Record",
    "Tag",
    "Why",
    "card",
    "day_picks_paper",
    "oil_sheet",
    "pick_paper",
    "picture",
    "purchase",
    "record",
    "tags",
    "why",
    "why_oil",
]
