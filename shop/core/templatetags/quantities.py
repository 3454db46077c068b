"""How figures are written on screen and paper."""

from django import template

register = template.Library()
