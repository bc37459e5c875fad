"""The library's tables, one file a subject."""

from .body import Body, BodyDimension, BodyPart
from .configuration import Configuration, ConfigurationPart
from .measurement import Measurement, StatedFigure
from .part import Fitment, Maker, Part, PartDimension, PartPair
from .platform import KnownWheelbase, MountingPosition, Platform

__all__ = [
    "Body",
    "BodyDimension",
    "BodyPart",
    "Configuration",
    "ConfigurationPart",
    "Fitment",
    "KnownWheelbase",
    "Maker",
    "Measurement",
    "MountingPosition",
    "Part",
    "PartDimension",
    "PartPair",
    "Platform",
    "StatedFigure",
]
