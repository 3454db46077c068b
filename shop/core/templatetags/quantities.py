"""How figures are written on pages and papers; loaded in every template."""

from django import template

from shop.core import amounts

register = template.Library()

register.simple_tag(amounts.in_shop_unit, name="figure")
register.simple_tag(amounts.shop_unit, name="unit")
register.simple_tag(amounts.in_full, name="full")
register.simple_tag(amounts.in_other_unit, name="other")
register.simple_tag(amounts.span, name="span")
register.filter("amount", amounts.stock_amount)
register.filter("price", amounts.price_in_words)
register.filter("money", amounts.money)
