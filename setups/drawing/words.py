"""The drawings in words, for who cannot or would rather not look."""

from __future__ import annotations

from django.utils.translation import gettext as _

from fitcalc.parts import Axle
from setups.drawing.car import Car, End
from setups.drawing.lens import FLUSH_WITHIN
from setups.printing import plain, plus_minus


def _flush(end: End) -> str:
    front = end.axle is Axle.FRONT
    if end.flush is None:
        return _("The front arch width is not known.") if front else _("The rear arch width is not known.")
    gap, size = float(end.flush.value), plus_minus(abs(end.flush))
    if abs(gap) < FLUSH_WITHIN:
        if front:
            return _("The front wheels are flush with their arches.")
        return _("The rear wheels are flush with their arches.")
    if gap > 0:
        said = (
            _("The front wheels stand {length} proud a side.")
            if front
            else _("The rear wheels stand {length} proud a side.")
        )
    else:
        said = (
            _("The front wheels stand {length} inset a side.")
            if front
            else _("The rear wheels stand {length} inset a side.")
        )
    return said.format(length=size)


def _widths(end: End) -> str:
    said = (
        _("Over the front wheels {width}, track {track}.")
        if end.axle is Axle.FRONT
        else _("Over the rear wheels {width}, track {track}.")
    )
    return said.format(width=plain(end.width), track=plain(end.track))


def plan_words(car: Car) -> tuple[str, str]:
    """Title and description of the plan."""
    sentences = [_widths(end) for end in car.ends] + [_flush(end) for end in car.ends]
    sentences.append(_("Wheelbase {length}.").format(length=plus_minus(car.wheelbase)))
    sentences.append(
        _("The front wheels steer {inward} inward and {outward} outward.").format(
            inward=plain(car.lock_inward, 0), outward=plain(car.lock_outward, 0)
        )
    )
    title = _("{body} on {platform}, from above").format(body=car.body, platform=car.platform)
    return title, " ".join(sentences)


def side_words(car: Car) -> tuple[str, str]:
    """Title and description of the side view."""
    links = ", ".join(f"{link.name} {plus_minus(link.quantity)}" for link in car.chain.contributions)
    sentences = [
        _("The wheelbase adds up from {links}: it reaches {length}.").format(
            links=links, length=plus_minus(car.wheelbase)
        )
    ]
    if car.body_wheelbase is None:
        sentences.append(_("The body's wheelbase is not known."))
    else:
        said = (
            _("The body needs {length}, predicted from the full-size car.")
            if car.wheelbase_predicted
            else _("The body needs {length}.")
        )
        sentences.append(said.format(length=plus_minus(car.body_wheelbase)))
    if car.rear_centring is not None:
        said = (
            _("The rear wheel stands {length} forward of its arch's middle.")
            if float(car.rear_centring.value) > 0
            else _("The rear wheel stands {length} behind its arch's middle.")
        )
        sentences.append(said.format(length=plus_minus(abs(car.rear_centring))))
    for end in car.ends:
        if end.clearance is not None:
            said = (
                _("Smallest gap in the front arch {length}.")
                if end.axle is Axle.FRONT
                else _("Smallest gap in the rear arch {length}.")
            )
            sentences.append(said.format(length=plus_minus(end.clearance)))
    title = _("{body} on {platform}, from the side, with the wheelbase as a chain").format(
        body=car.body, platform=car.platform
    )
    return title, " ".join(sentences)
