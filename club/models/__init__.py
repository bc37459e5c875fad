"""The club's tables: its members, and what each has in the garage."""

from .garage import Chassis, ChassisPart, OwnedBody, OwnedPart
from .member import Member

__all__ = ["Chassis", "ChassisPart", "Member", "OwnedBody", "OwnedPart"]
