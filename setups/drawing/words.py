"""The drawings in words, for who cannot or would rather not look."""

from __future__ import annotations

from setups.drawing.car import Car, End
from setups.drawing.lens import gap_word
from setups.printing import plain, plus_minus


def _flush(end: End) -> str:
    name = end.axle.value
    if end.flush is None:
        return f"The {name} arch width is not known."
    word = gap_word(float(end.flush.value))
    if word == "flush":
        return f"The {name} wheels are flush with their arches."
    return f"The {name} wheels stand {plus_minus(abs(end.flush))} {word} a side."


def plan_words(car: Car) -> tuple[str, str]:
    """Title and description of the plan."""
    sentences = [
        f"Over the {end.axle.value} wheels {plain(end.width)}, track {plain(end.track)}." for end in car.ends
    ]
    sentences += [_flush(end) for end in car.ends]
    sentences.append(f"Wheelbase {plus_minus(car.wheelbase)}.")
    sentences.append(
        f"The front wheels steer {plain(car.lock_inward, 0)} inward and {plain(car.lock_outward, 0)} outward."
    )
    return f"{car.body} on {car.platform}, from above", " ".join(sentences)


def side_words(car: Car) -> tuple[str, str]:
    """Title and description of the side view."""
    links = ", ".join(f"{link.name} {plus_minus(link.quantity)}" for link in car.chain.contributions)
    sentences = [f"The wheelbase adds up from {links}: it reaches {plus_minus(car.wheelbase)}."]
    if car.body_wheelbase is None:
        sentences.append("The body's wheelbase is not known.")
    else:
        predicted = ", predicted from the full-size car" if car.wheelbase_predicted else ""
        sentences.append(f"The body needs {plus_minus(car.body_wheelbase)}{predicted}.")
    if car.rear_centring is not None:
        off = float(car.rear_centring.value)
        way = "forward of" if off > 0 else "behind"
        sentences.append(
            f"The rear wheel stands {plus_minus(abs(car.rear_centring))} {way} its arch's middle."
        )
    for end in car.ends:
        if end.clearance is not None:
            sentences.append(f"Smallest gap in the {end.axle.value} arch {plus_minus(end.clearance)}.")
    return f"{car.body} on {car.platform}, from the side, with the wheelbase as a chain", " ".join(sentences)
