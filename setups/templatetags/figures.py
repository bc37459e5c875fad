"""How figures are printed: true minus, thin space before the unit, doubt behind the value."""

from django import template

register = template.Library()
