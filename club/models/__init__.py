"""The club's tables: its members, what each has in the garage, and what is raced."""

from .garage import Chassis, ChassisPart, OwnedBody, OwnedPart
from .member import Member
from .racing import RaceClass

__all__ = ["Chassis", "ChassisPart", "Member", "OwnedBody", "OwnedPart", "RaceClass"]
