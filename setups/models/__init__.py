"""The library's tables, one file a subject."""

from .answer import KeptAnswer
from .body import Body, BodyDimension, BodyPart
from .configuration import Configuration, ConfigurationPart
from .mark import Mark
from .measurement import Measurement, StatedFigure
from .part import Fitment, Maker, Part, PartDimension, PartPair
from .platform import KnownWheelbase, MountingPosition, Platform
from .setup import Decision, Dispute, Draft, Photo, Revision, RevisionPart, Setup, Surface
from .tally import Tally, TallyChange

__all__ = [
    "Body",
    "BodyDimension",
    "BodyPart",
    "Configuration",
    "ConfigurationPart",
    "Decision",
    "Dispute",
    "Draft",
    "Fitment",
    "KeptAnswer",
    "KnownWheelbase",
    "Maker",
    "Mark",
    "Measurement",
    "MountingPosition",
    "Part",
    "PartDimension",
    "PartPair",
    "Photo",
    "Platform",
    "Revision",
    "RevisionPart",
    "Setup",
    "StatedFigure",
    "Surface",
    "Tally",
    "TallyChange",
]
