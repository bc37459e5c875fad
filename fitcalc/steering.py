"""Ackermann steering and the circle that a car turns on, at walking pace (no slip angles).

Lengths in mm, angles in degrees, floats or arrays that broadcast. Straight ahead turns on a circle of
infinite radius.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitcalc.quantities import Real
from fitcalc.said import said


class SteeringError(ValueError):
    """A turn that no car can make."""


@dataclass(frozen=True, slots=True)
class Turn:
    """The tightest turn inside both locks.

    ``inner`` and ``outer`` are the steer angles of the two front wheels, degrees. The radii, mm, are those
    of the rear axle's centre, of the middle of the outer front tyre, and of the body's outer front corner
    (``None`` if the body is not known).
    """

    inner: Real
    outer: Real
    centre_radius: Real
    outer_wheel_radius: Real
    outer_corner_radius: Real | None


def ackermann_outer(inner: Real, wheelbase: Real, kingpin_spacing: Real) -> Real:
    """Outer wheel's steer angle for the ``inner`` one's: cot(outer) = cot(inner) + K / L.

    Gillespie, *Fundamentals of Vehicle Dynamics* (1992), ch. 6, gives the figure that this follows from:
    both front axles' lines meet on the line of the rear axle. ``wheelbase`` L above zero; inner 0 to 90.
    """
    angle = np.radians(inner)
    return np.degrees(
        np.arctan2(np.sin(angle), np.cos(angle) + kingpin_spacing / wheelbase * np.sin(angle)),
    )


def ackermann_inner(outer: Real, wheelbase: Real, kingpin_spacing: Real) -> Real:
    """Inner wheel's steer angle for the ``outer`` one's: cot(inner) = cot(outer) - K / L.

    Above 90 where the turn's centre comes to lie between the kingpins.
    """
    angle = np.radians(outer)
    return np.degrees(
        np.arctan2(np.sin(angle), np.cos(angle) - kingpin_spacing / wheelbase * np.sin(angle)),
    )


def mean_steer(inner: Real, outer: Real) -> Real:
    """Steer angle of the single front wheel that makes the same turn: cot(mean) = (cot(i) + cot(o)) / 2."""
    i, o = np.radians(inner), np.radians(outer)
    return np.degrees(np.arctan2(2.0 * np.sin(i) * np.sin(o), np.sin(i + o)))


def turn(
    wheelbase: Real,
    kingpin_spacing: Real,
    scrub_radius: Real,
    inward_limit: Real,
    outward_limit: Real,
    body_width: Real | None = None,
    front_overhang: Real | None = None,
) -> Turn:
    """The tightest turn whose Ackermann pair stays inside both limits of ``clearance.lock_limits``.

    The inner wheel turns outward, the outer one inward, so inner = min(outward limit, the inner angle that
    belongs to the inward limit). The centre of the turn is on the rear axle's line, L cot(inner) + K / 2
    from the car's centreline. The outer kingpin runs on L / sin(outer), and its wheel, on the same line
    through the centre, a scrub radius further out. The corner is ``front_overhang`` ahead of the front axle
    and half of ``body_width`` out.
    """
    inner = np.minimum(outward_limit, ackermann_inner(inward_limit, wheelbase, kingpin_spacing))
    outer = ackermann_outer(inner, wheelbase, kingpin_spacing)
    with np.errstate(divide="ignore"):
        centre = wheelbase * np.cos(np.radians(inner)) / np.sin(np.radians(inner)) + kingpin_spacing / 2.0
        outer_wheel = wheelbase / np.sin(np.radians(outer)) + scrub_radius
    corner = None
    if body_width is not None and front_overhang is not None:
        corner = np.hypot(wheelbase + front_overhang, centre + body_width / 2.0)
    return Turn(inner, outer, centre, outer_wheel, corner)


def implied_lock(wheelbase: Real, turning_circle_diameter: Real) -> Real:
    """Steer angle of the bicycle model whose front wheel runs on the turning circle: asin(2 L / D).

    Any unit of length, the same for both. Raises SteeringError if a circle is smaller than two wheelbases
    across, which no front wheel can run on while the rear one rolls.
    """
    ratio = np.asarray(2.0 * wheelbase / turning_circle_diameter)
    if not np.all((ratio >= 0.0) & (ratio <= 1.0)):
        raise SteeringError(
            said("a turning circle is at least two wheelbases across; check both figures' units")
        )
    return np.degrees(np.arcsin(ratio))
