"""Every address of the site that shows a page, as whom to look at it, and with what of the demo.

For tests that hold something of all pages: ``pages()`` makes the addresses from a loaded demo, and
``unlisted()`` names what neither list knows, so that a new page without a line here fails a test.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from io import StringIO
from typing import Any

from django.core.management import call_command
from django.db.models import Count, Model
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from club.models import Chassis, Clause, Entry, Member, OwnedPart, RaceClass, RulebookEdition
from club.racing import editions
from fitcalc.dimensions import CAR_DIMENSIONS
from setups.models import Body, Dispute, Measurement, Part, Platform, Revision, Setup
from setups.services import posting

VISITOR, MEMBER, LIBRARIAN, DIRECTOR, STEWARD = "", "member", "librarian", "director", "steward"
"""As whom a page is looked at: names of the demo's accounts, and nobody."""

NO_PAGES = {
    # forms are sent here
    "caption-photo", "check-in", "choose-reader", "discard-draft", "discard-edition", "move-clause",
    "remove-body", "remove-chassis", "remove-clause", "remove-part", "remove-photo", "restore-setup",
    "revoke-token", "send-record", "setup-photos", "withdraw-entry", "withdraw-measurement", "withdraw-setup",
    "end-other-sign-ins", "end-sign-in", "new-recovery-codes",
    # files
    "recovery-codes-file",
    "entry-list-template", "event-record-csv", "event-record-json", "export", "import-template", "photo",
    "photo-small", "worker", "security-txt",
    # for machines, or leading elsewhere
    "account_set_password", "event-pages", "garage-pages", "manifest", "health", "live", "ready",
    "well-known-change-password",
    # the same as another name's
    "account_login", "account_logout", "account_signup",
    # a part of the body's page
    "body-setups",
    # shown to who has just sent a form, or opens a link that was mailed: seen by the tests of accounts
    "account_confirm_email", "account_reset_password_from_key", "import-loaded",
    # shown to who has a second factor or is turning it on: seen by the tests of that
    "mfa_activate_totp", "mfa_authenticate", "mfa_deactivate_totp", "mfa_view_recovery_codes",
}  # fmt: skip


@dataclass(frozen=True)
class Page:
    """``name`` is of urls.py; ``who`` a demo account, or nobody."""

    name: str
    path: str
    who: str


def load_demo(setups: int = 40) -> None:
    """The demo, with a draft of the member's and one of a race director's."""
    call_command("demo", setups=setups, with_accounts=True, stdout=StringIO())
    posting.begin(Member.objects.get(username=MEMBER), {"name": "Evening car"})
    held = RulebookEdition.objects.filter(published_at__isnull=False).order_by("pk")[0]
    editions.start(held.race_class, "Next season", held.valid_from + timedelta(days=3650), after=held)


def names() -> Iterator[str]:
    """The name of every address outside the programs' interface, unnamed ones as their pattern."""

    def of(resolver: URLResolver, before: str) -> Iterator[str]:
        for one in resolver.url_patterns:
            path = before + str(one.pattern)
            if isinstance(one, URLResolver):
                yield from of(one, path)
            elif isinstance(one, URLPattern) and not path.startswith("api/"):
                yield one.name or path

    return of(get_resolver(), "")


def unlisted() -> set[str]:
    """Names of addresses that are in neither list."""
    return set(names()) - NO_PAGES - {name for name, _, _ in _PAGES}


def pages() -> list[Page]:
    """Every page of the loaded demo, and what some show in other states (nothing found, much compared)."""
    found = [Page(name, reverse(name, kwargs=given()), who) for name, who, given in _PAGES]
    listed = Setup.objects.listed().order_by("pk").values_list("pk", flat=True)[:3]
    compared = "&".join(f"car=s{key}" for key in listed)
    first = Body.objects.order_by("pk")[0]
    more = [
        Page("find", f"/?q={first.name.split()[0]}", VISITOR),
        Page("find", "/?q=nothing+is+called+so", VISITOR),
        Page("setups", "/setups/?q=nothing+is+called+so", VISITOR),
        Page("parts", "/parts/?q=nothing+is+called+so", VISITOR),
        Page("compare", f"/compare/?{compared}", VISITOR),
        Page("body", reverse("body", kwargs=_body()), MEMBER),
        Page("setup", reverse("setup", kwargs=_setup()), MEMBER),
        Page("event", reverse("event", kwargs=_event()), DIRECTOR),
        Page("edition", reverse("edition", kwargs=_edition(published=False)), DIRECTOR),
        Page("not found", "/no/such/page/", VISITOR),
        Page("refused", "/stewards/", MEMBER),
    ]
    return found + more


def _nothing() -> dict[str, Any]:
    return {}


def _body() -> dict[str, Any]:
    return {"slug": Body.objects.alias(told=Count("measurement_set")).order_by("-told", "pk")[0].slug}


def _part() -> dict[str, Any]:
    return {"slug": Part.objects.alias(told=Count("measurement_set")).order_by("-told", "pk")[0].slug}


def _platform() -> dict[str, Any]:
    return {"slug": Platform.objects.order_by("pk")[0].slug}


def _measured(subject: str) -> dict[str, Any]:
    row = Measurement.objects.filter(**{f"{subject}__isnull": False}).order_by("pk")[0]
    return {"slug": getattr(row, subject).slug, "quantity": row.quantity}


def _setup() -> dict[str, Any]:
    told = Count("revisions__measurements")
    return {"number": Setup.objects.listed().alias(told=told).order_by("-told", "pk")[0].pk}


def _revision() -> dict[str, Any]:
    one = Revision.objects.order_by("-number", "pk")[0]
    return {"number": one.setup_id, "revision": one.number}


def _draft() -> dict[str, Any]:
    return {"number": Setup.objects.filter(author__username=MEMBER, draft__isnull=False)[0].pk}


def _class() -> dict[str, Any]:
    return {"slug": RaceClass.objects.alias(of=Count("editions")).order_by("-of", "pk")[0].slug}


def _edition(published: bool = True) -> dict[str, Any]:
    one = RulebookEdition.objects.filter(published_at__isnull=not published).order_by("pk")[0]
    return {"slug": one.race_class.slug, "pk": one.pk}


def _clause() -> dict[str, Any]:
    given = _edition(published=False)
    return given | {"number": Clause.objects.filter(edition=given["pk"]).order_by("pk")[0].pk}


def _entry() -> dict[str, Any]:
    """The car that was looked at most."""
    one = Entry.objects.alias(told=Count("inspections")).order_by("-told", "pk")[0]
    return {"slug": one.event.slug, "pk": one.pk}


def _event() -> dict[str, Any]:
    return {"slug": _entry()["slug"]}


def _of_member(model: type[Model]) -> dict[str, Any]:
    return {"pk": model._default_manager.filter(member__username=MEMBER).order_by("pk")[0].pk}


_PAGES: list[tuple[str, str, Callable[[], dict[str, Any]]]] = [
    ("find", VISITOR, _nothing),
    ("body", VISITOR, _body),
    ("check", VISITOR, _body),
    ("compare", VISITOR, _nothing),
    ("platforms", VISITOR, _nothing),
    ("platform", VISITOR, _platform),
    ("parts", VISITOR, _nothing),
    ("part", VISITOR, _part),
    ("measure-body", MEMBER, lambda: _measured("body")),
    ("measure-part", MEMBER, lambda: _measured("part")),
    ("measure-car", MEMBER, lambda: _setup() | {"quantity": next(iter(CAR_DIMENSIONS))}),
    ("setups", VISITOR, _nothing),
    ("setup", VISITOR, _setup),
    ("setup-classes", VISITOR, _setup),
    ("revision", VISITOR, _revision),
    ("new-setup", MEMBER, _nothing),
    ("my-setups", MEMBER, _nothing),
    ("edit-setup", MEMBER, _draft),
    ("stewards", STEWARD, _nothing),
    ("dispute", STEWARD, lambda: {"number": Dispute.objects.order_by("pk")[0].pk}),
    ("offline", VISITOR, _nothing),
    ("gearing", VISITOR, _nothing),
    ("balance", VISITOR, _nothing),
    ("imports", LIBRARIAN, _nothing),
    ("exports", MEMBER, _nothing),
    ("sign-in", VISITOR, _nothing),
    ("sign-out", MEMBER, _nothing),
    ("sign-up", VISITOR, _nothing),
    ("account_inactive", VISITOR, _nothing),
    ("account_reauthenticate", MEMBER, _nothing),
    ("account_reset_password", VISITOR, _nothing),
    ("account_reset_password_done", VISITOR, _nothing),
    ("account_reset_password_from_key_done", VISITOR, _nothing),
    ("account_email_verification_sent", VISITOR, _nothing),
    ("account", MEMBER, _nothing),
    ("account_change_password", MEMBER, _nothing),
    ("account_email", MEMBER, _nothing),
    ("mfa_index", MEMBER, _nothing),
    ("sign-ins", MEMBER, _nothing),
    ("tokens", MEMBER, _nothing),
    ("member", VISITOR, lambda: {"username": MEMBER}),
    ("garage", MEMBER, _nothing),
    ("garage-add-part", MEMBER, _nothing),
    ("garage-add-body", MEMBER, _nothing),
    ("owned-part", MEMBER, lambda: _of_member(OwnedPart)),
    ("new-chassis", MEMBER, _nothing),
    ("chassis", MEMBER, lambda: _of_member(Chassis)),
    ("chassis-fits", MEMBER, lambda: _of_member(Chassis)),
    ("garage-needs", MEMBER, _body),
    ("kit", MEMBER, _nothing),
    ("race-classes", VISITOR, _nothing),
    ("race-class", VISITOR, _class),
    ("compare-editions", VISITOR, _class),
    ("check-class", VISITOR, _class),
    ("edition", VISITOR, _edition),
    ("new-race-class", DIRECTOR, _nothing),
    ("new-edition", DIRECTOR, _class),
    ("change-edition", DIRECTOR, lambda: _edition(published=False)),
    ("publish-edition", DIRECTOR, lambda: _edition(published=False)),
    ("new-clause", DIRECTOR, lambda: _edition(published=False)),
    ("clause", DIRECTOR, _clause),
    ("events", MEMBER, _nothing),
    ("event", MEMBER, _event),
    ("new-event", DIRECTOR, _nothing),
    ("edit-event", DIRECTOR, _event),
    ("event-check", DIRECTOR, _event),
    ("new-entry", DIRECTOR, _event),
    ("entry-list", DIRECTOR, _event),
    ("entry", DIRECTOR, _entry),
    ("edit-entry", DIRECTOR, _entry),
    ("event-sheets", DIRECTOR, _event),
    ("entry-sheet", DIRECTOR, _entry),
    ("inspect", DIRECTOR, _entry),
    ("entry-record", DIRECTOR, _entry),
    ("event-record", DIRECTOR, _event),
]
