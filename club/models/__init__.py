"""The club's tables: its members, what each has in the garage, what is raced, and the tokens of programs."""

from .events import Entry, EntryChange, Event, EventClass, Inspection
from .garage import Chassis, ChassisPart, OwnedBody, OwnedPart
from .member import Member
from .racing import Clause, ClauseItem, RaceClass, RulebookEdition
from .token import Scope, Token

__all__ = [
    "Chassis",
    "ChassisPart",
    "Clause",
    "ClauseItem",
    "Entry",
    "EntryChange",
    "Event",
    "EventClass",
    "Inspection",
    "Member",
    "OwnedBody",
    "OwnedPart",
    "RaceClass",
    "RulebookEdition",
    "Scope",
    "Token",
]
