"""Check a car: one class clause by clause, or every class at once. An aid: the officials decide."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from club.models import Chassis, ChassisPart, RaceClass, RulebookEdition
from club.racing.cars import OpenSlots, Subject, subject_of_chassis, subject_of_setup
from club.racing.checking import Check, check, classes_without, matrix, rulebook_of, rulebooks_on
from club.racing.editions import holds_on, today
from club.racing.mending import FROM_PARTS, mend
from club.racing.views.read import seen_editions
from fitcalc.legality import BODY, ClassVerdict, Limit
from setups.models import Body, Setup
from setups.services.cars import NotBuildable

OFFERED = 100
"""The form offers so many of a member's own setups, chassis and bodies."""


@never_cache
@require_safe
def check_class(request: HttpRequest, slug: str) -> HttpResponse:
    """A setup (``setup``) or one's own chassis (``chassis``, with ``body``) against the edition that holds
    today, or the one that ``edition`` names."""
    race_class = get_object_or_404(RaceClass, slug=slug)
    edition = _edition(request, race_class)
    context: dict[str, Any] = {"race_class": race_class, "edition": edition, "today": today()}
    context |= _offered(request)
    try:
        subject, chassis = _subject(request)
    except (OpenSlots, NotBuildable) as error:
        context["problem"] = str(error)
        subject, chassis = None, None
    if subject is not None and edition is not None:
        rulebook = rulebook_of(edition)
        found = check(subject.car, rulebook)
        member = request.user if request.user.is_authenticated else None
        context |= {
            "subject": subject,
            "check": found,
            "counts": _counts(found),
            "signed_in": member is not None,
        }
        if found.passes is False:
            context["mending"] = mend(subject, rulebook, member, chassis)
            context["about_parts"] = any(
                _about_parts(row.ruling.clause) for row in found.rows if row.ruling.passes is False
            )
    return render(request, "racing/check.html", context)


@never_cache
@require_safe
def setup_classes(request: HttpRequest, number: int) -> HttpResponse:
    """A setup against the edition of every class that holds today."""
    setup = _setup(str(number))
    try:
        subject = subject_of_setup(setup)
    except NotBuildable as error:
        return render(request, "racing/matrix.html", {"setup": setup, "problem": str(error)})
    rulebooks = rulebooks_on(today())
    checks = sorted(matrix(subject.car, rulebooks), key=_order)
    context = {
        "subject": subject,
        "number": number,
        "checks": [(one, _counts(one), one.problems_first[:3]) for one in checks],
        "without": classes_without(rulebooks),
        "legal": [one for one in checks if one.passes],
        "today": today(),
    }
    return render(request, "racing/matrix.html", context)


def _order(one: Check) -> tuple[int, int, str]:
    """What passes first, then what is open, then what fails, fewest failing clauses first."""
    order = {True: 0, None: 1, False: 2}[one.passes]
    return order, one.number(ClassVerdict.DOES_NOT_COMPLY), str(one.edition.race_class)


def _counts(one: Check) -> list[tuple[ClassVerdict, int]]:
    """How many clauses have each verdict, gravest first, those that none has left out."""
    return [(verdict, number) for verdict in reversed(ClassVerdict) if (number := one.number(verdict))]


def _about_parts(clause: Any) -> bool:
    return clause.quantity in FROM_PARTS if isinstance(clause, Limit) else getattr(clause, "kind", "") != BODY


def _edition(request: HttpRequest, race_class: RaceClass) -> RulebookEdition | None:
    named = request.GET.get("edition", "")
    if not named:
        return holds_on(race_class, today())
    if not (named.isascii() and named.isdigit() and len(named) < 19):
        raise Http404(_("There is no such edition"))
    return get_object_or_404(seen_editions(request, race_class), pk=int(named))


def _subject(request: HttpRequest) -> tuple[Subject | None, Chassis | None]:
    if named := request.GET.get("setup", ""):
        return subject_of_setup(_setup(named)), None
    if named := request.GET.get("chassis", ""):
        chassis = _chassis(request, named)
        slug = request.GET.get("body", "")
        bodies = Body.objects.select_related("maker").prefetch_related("dimensions", "part_rules")
        body = get_object_or_404(bodies, slug=slug[:140]) if slug else None
        if body is not None and body.scale != chassis.platform.scale:
            raise OpenSlots(
                _("{body} is of another scale than {chassis}: choose a body of 1:{scale}.").format(
                    body=body, chassis=chassis, scale=chassis.platform.scale
                )
            )
        return subject_of_chassis(chassis, body), chassis
    return None, None


def _setup(named: str) -> Setup:
    """A setup that everybody may see."""
    if not (named.isascii() and named.isdigit() and len(named) < 19):
        raise Http404(_("There is no such setup"))
    posted = Setup.objects.filter(current__isnull=False).select_related("current", "author")
    return get_object_or_404(posted, pk=int(named))


def _chassis(request: HttpRequest, named: str) -> Chassis:
    """One's own chassis, with what a check reads of it."""
    if not (request.user.is_authenticated and named.isascii() and named.isdigit() and len(named) < 19):
        raise Http404(_("There is no such chassis"))
    rows = ChassisPart.objects.select_related("part").prefetch_related("part__dimensions").order_by("pk")
    mine = Chassis.objects.filter(member=request.user).select_related("member", "position__platform__maker")
    return get_object_or_404(mine.prefetch_related(Prefetch("slots", rows)), pk=int(named))


def _offered(request: HttpRequest) -> dict[str, Any]:
    """What a member can choose among: own setups, own chassis, own bodies."""
    if not request.user.is_authenticated:
        return {}
    setups = Setup.objects.filter(author=request.user, current__isnull=False).order_by("name", "pk")
    return {
        "setups": list(setups[:OFFERED]),
        "chassis": list(request.user.chassis.select_related("position__platform")[:OFFERED]),
        "bodies": list(request.user.owned_bodies.select_related("body")[:OFFERED]),
        "asked": {name: request.GET.get(name, "") for name in ("setup", "chassis", "body")},
    }
