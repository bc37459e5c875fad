"""An invented club, so that every feature can be seen at first start.

``names`` holds what things are called, ``platforms`` the chassis families with their figures, ``parts``
what is sold for them, ``sets`` what goes with what, ``bodies`` the shells, ``members`` the people;
``store`` puts all of it into the database and takes it out again. Every name and figure is made up: no
maker, car or product is meant.
"""

from __future__ import annotations

from setups.demo.bodies import bodies_of
from setups.demo.parts import parts_of
from setups.demo.plans import Club
from setups.demo.platforms import PLATFORMS
from setups.demo.sets import known_of, pairs_of, supplied_of

RANDOM_SEED = 20
"""The seed that the tests are written for; another one gives other figures under the same names."""


def club_of(random_seed: int = RANDOM_SEED) -> Club:
    """The whole club as plain records: the same seed gives the same club."""
    shells = bodies_of(PLATFORMS, random_seed)
    return Club(
        platforms=PLATFORMS,
        parts=parts_of(PLATFORMS, random_seed) + shells.mounts,
        pairs=pairs_of(PLATFORMS),
        known_wheelbases=known_of(PLATFORMS),
        configurations=supplied_of(PLATFORMS) + shells.configurations,
        bodies=shells.bodies,
        body_parts=shells.body_parts,
    )
