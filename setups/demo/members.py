"""Forty invented members. Their addresses end in a domain that can never exist (RFC 2606, section 2)."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.text import slugify

EMAIL_DOMAIN = "demo-club.invalid"
PASSPHRASE = (
    "lapwings over wet sand"  # documented on purpose: the demo's accounts are open to whoever reads this
)

_PEOPLE = {
    "librarian": ("Maud Tarnbrook", "Ferris Oldcastle-Wray", "Ines Quarnford"),
    "race_director": ("Joss Velderby", "Petra Holmescar"),
    "steward": (
        "Tamsin Brackley-Noor",
        "Aldo Merrowdale",
        "Wilf Sandhollow",
        "Beatriz Ollenshaw",
        "Henrik Stavelow",
    ),
    "member": (
        "Ansa Kirrimoor",
        "Bram Ashwelter",
        "Ceri Dunnockley",
        "Dov Harrowmere",
        "Edda Pellwick",
        "Fenna Ruswarden",
        "Gil Thornaby-Sole",
        "Hana Eskdalen",
        "Ivo Marshgrave",
        "Jutta Coldbeckler",
        "Kofi Larchmont-Dene",
        "Liesl Wintersett",
        "Marek Oxhollow",
        "Nuala Fernsby-Lock",
        "Osric Tidewell",
        "Pia Hethersett-Ray",
        "Quentin Moorsholt",
        "Rosa Birkenshade",
        "Sunil Greywether",
        "Thea Lowmarsh",
        "Ugo Petherwin",
        "Vesna Stonegarth",
        "Wanda Iverscote",
        "Xenia Copplethorn",
        "Yusuf Arkendale",
        "Zora Millbeck-Ashe",
    ),
}
_OPEN_ACCOUNTS = (
    ("librarian", "Demo librarian", "librarian"),
    ("director", "Demo race director", "race_director"),
    ("steward", "Demo steward", "steward"),
    ("member", "Demo member", "member"),
)


@dataclass(frozen=True, slots=True)
class MemberPlan:
    """One member; ``open_to_all`` marks the accounts with the documented passphrase."""

    username: str
    display_name: str
    role: str
    open_to_all: bool = False

    @property
    def email(self) -> str:
        return f"{self.username}@{EMAIL_DOMAIN}"


MEMBERS = (
    *(MemberPlan(username, name, role, True) for username, name, role in _OPEN_ACCOUNTS),
    *(MemberPlan(slugify(name), name, role) for role, names in _PEOPLE.items() for name in names),
)
"""The whole club: one open account a role first."""
