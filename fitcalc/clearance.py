"""What stays free between a wheel and its body and chassis: flush, in the arch, in bump, at lock.

Lengths in mm, angles in degrees, floats or arrays that broadcast. A clearance is negative where
things overlap; nothing here raises.
"""

from __future__ import annotations

import numpy as np

from fitcalc.quantities import Real


def flushness(width: Real, arch_width: Real) -> Real:
    """How far a wheel stands proud of its arch, a side: (W - A) / 2; negative is inset."""
    return (width - arch_width) / 2.0


def front_centring(mount_reach: Real, nose_reach: Real) -> Real:
    """How far forward of its place the front mount holds the body: its reach less the nose's.

    The front axle is fixed, so the front arch opening stands this far forward of the wheel's centre.
    """
    return mount_reach - nose_reach


def rear_centring(wheelbase: Real, body_wheelbase: Real, mount_error: Real = 0.0) -> Real:
    """How far forward of its arch's centre the rear axle stands: L_body - L - e.

    The axle is at x = -L; the arch, on a body held ``mount_error`` e forward (``front_centring``), at
    x = e - L_body.
    """
    return body_wheelbase - wheelbase - mount_error


def arch_clearance(arch_radius: Real, tyre_diameter: Real, centring: Real) -> Real:
    """Gap between tyre and opening where it is smallest: R - D / 2 - |c|, wheel straight and level."""
    return arch_radius - tyre_diameter / 2.0 - np.abs(centring)


def wheel_travel(bump_travel: Real, arm_length: Real, scrub_radius: Real) -> Real:
    """Rise of the wheel's centre when the kingpin rises by ``bump_travel``: z (a + r) / a.

    The arm of length ``arm_length`` a (inner pivot to kingpin, above zero) turns as a lever and carries the
    wheel r = ``scrub_radius`` further out; small angles.
    """
    return bump_travel * (arm_length + scrub_radius) / arm_length


def bump_clearance(arch_height: Real, tyre_diameter: Real, wheel_travel: Real) -> Real:
    """What is left over the tyre at full bump: h - D / 2 - z, with h from the wheel's centre at rest."""
    return arch_height - tyre_diameter / 2.0 - wheel_travel


def lock_limits(
    tyre_diameter: Real,
    tyre_width: Real,
    scrub_radius: Real,
    arch_radius: Real,
    centring: Real,
    chassis_gap: Real | None,
) -> tuple[Real, Real]:
    """Steer angles (inward, outward) in degrees at which a front tyre first touches.

    Inward is the front of the wheel turning towards the car, outward away from it; so the outer wheel of
    a turn steers inward and the inner one outward.

    Seen from above, with the kingpin as origin, x forward and y out of the car, the tyre is a rectangle
    with corners (±D/2, a) and (±D/2, b), where a = r - w/2, b = r + w/2 and r is the scrub radius. Turned
    inward by δ a point (x, y) comes to (x cos δ + y sin δ, y cos δ - x sin δ); outward is -δ. The tyre
    must stay within c - R <= x <= c + R, the opening of radius R in a body that sits ``centring`` c forward
    (``front_centring``), and at y >= -g, the chassis' side being ``chassis_gap`` g = (K - chassis width) / 2
    inboard of the kingpin (``None``: no chassis in the way). A rectangle is convex, so its corners decide;
    the foremost, hindmost and inmost of the four give

        inward    front  (D/2) cos δ + b sin δ <= R + c      rear  (D/2) cos δ - a sin δ <= R - c
        outward   front  (D/2) cos δ - a sin δ <= R + c      rear  (D/2) cos δ + b sin δ <= R - c
        either    chassis  (D/2) sin δ - a cos δ <= g

    each of the form A cos δ + B sin δ <= C, in closed form in ``_first_contact``. The result is 0 where
    the tyre touches straight ahead and 90 where it never touches. ``tyre_diameter`` must be above zero.
    """
    half = tyre_diameter / 2.0
    inner = scrub_radius - tyre_width / 2.0
    outer = scrub_radius + tyre_width / 2.0
    ahead = arch_radius + centring
    behind = arch_radius - centring
    inward = np.minimum(_first_contact(half, outer, ahead), _first_contact(half, -inner, behind))
    outward = np.minimum(_first_contact(half, -inner, ahead), _first_contact(half, outer, behind))
    if chassis_gap is not None:
        chassis = _first_contact(-inner, half, chassis_gap)
        inward = np.minimum(inward, chassis)
        outward = np.minimum(outward, chassis)
    return np.degrees(2.0 * np.arctan(inward)), np.degrees(2.0 * np.arctan(outward))


def _first_contact(a: Real, b: Real, c: Real) -> Real:
    """tan(δ / 2) at the smallest δ of 0 to 90 degrees where a cos δ + b sin δ rises to c, else 1.

    With t = tan(δ / 2) contact is at (a + c) t² - 2 b t + (c - a) = 0. At δ = 0 the sum is a: from c on,
    there is contact at once. Below c the way up comes first, t = (c - a) / (b + sqrt(b² + a² - c²)), unless
    the sum never gets beyond c (no root) or only falls (denominator not above zero). Half angles keep their
    order, so the least of several contacts needs one arctangent.
    """
    square = b * b + a * a - c * c
    divisor = b + np.sqrt(np.maximum(square, 0.0))
    meets = (square > 0.0) & (divisor > 0.0)
    rise = (c - a) / np.where(meets, divisor, 1.0)
    return np.where(a >= c, 0.0, np.where(meets, np.minimum(rise, 1.0), 1.0))
