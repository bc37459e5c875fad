"""Wheel offsets, widths over the wheels and track, in the small-scale and the full-size conventions.

Two conventions describe where a rim sits on its hub, and their signs are opposite:

* Small scale measures the **offset** ``o`` from the hub's face to the rim's inner edge, outward
  positive; zero when the two are level. Common practice, no source.
* Full size measures the **inset** from the rim's centreline to the mounting face, positive where the
  face is outboard of the centreline (ISO 3911), and the **backspacing** from the inner flange's
  outside edge to the mounting face.

All arguments and results are mm, floats or arrays that broadcast; nothing here raises.
"""

from __future__ import annotations

from fitcalc.quantities import Real


def overall_width(hub_width: Real, offset: Real, rim_width: Real, spacer: Real = 0.0) -> Real:
    """Width over both wheels, outer rim edge to outer rim edge: W = H + 2 (o + s + w).

    ``hub_width`` H is face to face; ``offset`` o, ``rim_width`` w and ``spacer`` s are those of one side.
    """
    return hub_width + 2.0 * (offset + spacer + rim_width)


def track(hub_width: Real, offset: Real, rim_width: Real, spacer: Real = 0.0) -> Real:
    """Track width, rim centre to rim centre: t = H + 2 (o + s) + w."""
    return hub_width + 2.0 * (offset + spacer) + rim_width


def scrub_radius(track: Real, kingpin_spacing: Real) -> Real:
    """Kingpin to wheel centre, outward positive: (t - K) / 2, for an upright kingpin."""
    return (track - kingpin_spacing) / 2.0


def hub_width_from_across(across: Real, rim_width: Real) -> Real:
    """Hub width of a front end that is ``across`` wide over zero-offset wheels: H = A - 2 w."""
    return across - 2.0 * rim_width


def across_from_hub_width(hub_width: Real, rim_width: Real) -> Real:
    """Width over zero-offset wheels, by which the trade names a front end: A = H + 2 w."""
    return hub_width + 2.0 * rim_width


def offset_for_width(hub_width: Real, width: Real, rim_width: Real, spacer: Real = 0.0) -> Real:
    """Offset that makes the car ``width`` wide over its wheels: o = (W - H) / 2 - s - w."""
    return (width - hub_width) / 2.0 - spacer - rim_width


def inset_from_offset(offset: Real, rim_width: Real) -> Real:
    """Inset of a rim with small-scale ``offset``: -(o + w / 2)."""
    return -(offset + rim_width / 2.0)


def offset_from_inset(inset: Real, rim_width: Real) -> Real:
    """Small-scale offset of a rim with ``inset``: o = -inset - w / 2."""
    return -inset - rim_width / 2.0


def backspacing_from_offset(offset: Real, rim_width: Real, flange: Real = 0.0) -> Real:
    """Backspacing of a rim with small-scale ``offset``: (w + f) / 2 + inset.

    ``flange`` f is how much wider the rim is overall than its nominal width, both sides together; a
    full-size rim is about 25.4 mm wider over its flanges, a small-scale one has none.
    """
    return (rim_width + flange) / 2.0 + inset_from_offset(offset, rim_width)


def offset_from_backspacing(backspacing: Real, rim_width: Real, flange: Real = 0.0) -> Real:
    """Small-scale offset of a rim with ``backspacing`` b: that of the inset b - (w + f) / 2."""
    return offset_from_inset(backspacing - (rim_width + flange) / 2.0, rim_width)
