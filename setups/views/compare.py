"""Compare two to six cars; the address holds all of it, so it can be shared."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from setups.models import Body
from setups.services.comparing import FEWEST, MOST, NoSuchCar
from setups.services.kept import kept
from setups.services.side_by_side import Named, named_by, side_by_side
from setups.views.paging import whole_number


@require_safe
def compare_cars(request: HttpRequest) -> HttpResponse:
    """The cars of ``?car=…&car=…``; ``?over=n`` is drawn over the first.

    A bare configuration stands under ``?body=`` if that is named, a setup under its own.
    """
    codes = list(dict.fromkeys(request.GET.getlist("car")))
    slug = request.GET.get("body", "")
    body = None
    if slug:
        bodies = Body.objects.select_related("maker").prefetch_related("dimensions", "part_rules")
        body = bodies.filter(slug=slug).first()
    context: dict[str, object] = {"body": body}
    problem = ""
    if slug and body is None:
        problem = _(
            "The body in the address is not in the library: the cars are compared as bare chassis."
        )
    if len(codes) < FEWEST:
        return render(request, "setups/compare.html", context | {"problem": problem, "too_few": True})
    if len(codes) > MOST:
        problem = _("Only the first {most} of {given} cars are compared: more do not fit on a page.")
        problem = problem.format(most=MOST, given=len(codes))
        codes = codes[:MOST]
    try:
        named = named_by(codes)

        def made() -> str:
            return render_to_string("setups/_compared.html", _context(request, named, body, slug), request)

        read = None if body is not None else named.read
        # An address also says what is drawn over the first car, and each chip repeats it.
        main = made() if read is None else kept("compare", (codes, request.GET.urlencode(), read), made)
    except NoSuchCar as error:
        return render(
            request, "setups/compare.html", context | {"problem": str(error), "too_few": True}, status=404
        )
    posted = bool(named.revisions)
    context |= {
        "problem": problem,
        "main": main,
        "number": len(codes),
        "posted": posted,
        "one_body": _one_body(named, body),
        "as_they_are": _address([named.lasting(code) for code in codes], slug),
    }
    return render(request, "setups/compare.html", context)


def _context(request: HttpRequest, named: Named, body: Body | None, slug: str) -> dict[str, object]:
    cars = named.cars(body)
    found = side_by_side(cars)
    over = whole_number(request.GET.get("over", ""), 2, len(cars), 2)
    return {
        "cars": cars,
        "found": found,
        "comparison": found.comparison,
        "over": over,
        "first": cars[0].report,
        "second": cars[over - 1].report,
        "listed": [(car, _address([code for code in named.codes if code != car.code], slug)) for car in cars],
        "any_body": any(car.has_body for car in cars),
    }


def _one_body(named: Named, body: Body | None) -> str:
    """The body's name, if the cars that have one have the same."""
    names = {revision.body.name for revision in named.revisions.values()}
    if body is not None and len(named.revisions) < len(named.codes):
        names.add(body.name)
    return names.pop() if len(names) == 1 else ""


def _address(codes: list[str], body: str) -> str:
    query = QueryDict(mutable=True)
    query.setlist("car", codes)
    if body:
        query["body"] = body
    return f"{reverse('compare')}?{query.urlencode()}"
