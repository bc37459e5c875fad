"""What is good, with mistakes in it."""

from __future__ import annotations

import copy
from typing import Any

from hypothesis import strategies as st

numbers = st.one_of(
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.sampled_from([0, -0.0, 1e-308, 4, 27.999999, 28, 40, 92, 420, 1e400, float("nan")]),
)
leaves = st.one_of(
    st.none(),
    st.booleans(),
    numbers,
    st.text(max_size=20),
    st.sampled_from(["rear", "tyre", "wheel +0", "mm", "\0", "\ud800", "2031-05-10", "9" * 400]),
)
anything = st.recursive(
    leaves,
    lambda below: st.one_of(
        st.lists(below, max_size=4),
        st.dictionaries(
            st.one_of(st.text(max_size=8), st.sampled_from(["value", "unit", "id"])), below, max_size=4
        ),
    ),
    max_leaves=8,
)
"""Whatever JSON holds."""


def places(content: Any, at: tuple = ()) -> list[tuple]:
    """Every path into ``content``."""
    found = [at]
    steps = (
        content.items()
        if isinstance(content, dict)
        else enumerate(content)
        if isinstance(content, list)
        else ()
    )
    for step, below in steps:
        found += places(below, (*at, step))
    return found


@st.composite
def spoilt(draw: Any, content: Any) -> Any:
    """``content`` with anything at one to three of its places, or with some left out."""
    made = copy.deepcopy(content)
    for _ in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(places(made)))
        if not path:
            return draw(anything)
        place = made
        for step in path[:-1]:
            place = place[step]
        if isinstance(place, dict) and draw(st.booleans()):
            del place[path[-1]]
        else:
            place[path[-1]] = draw(anything)
    return made
