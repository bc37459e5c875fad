"""Compare two to six configurations; the address holds all of it, so it can be shared."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from setups.models import Body
from setups.services.comparing import FEWEST, MOST, NoSuchCar, cars_of, compare
from setups.views.paging import whole_number


@require_safe
def compare_cars(request: HttpRequest) -> HttpResponse:
    """The cars of ``?car=…&car=…``, under ``?body=`` if named; ``?over=n`` is drawn over the first."""
    codes = list(dict.fromkeys(request.GET.getlist("car")))
    slug = request.GET.get("body", "")
    body = None
    if slug:
        bodies = Body.objects.select_related("maker").prefetch_related("dimensions", "part_rules")
        body = bodies.filter(slug=slug).first()
    context: dict[str, object] = {"body": body, "codes": codes}
    problem = ""
    if slug and body is None:
        problem = "The body in the address is not in the library: the cars are compared as bare chassis."
    if len(codes) < FEWEST:
        return render(request, "setups/compare.html", context | {"problem": problem, "too_few": True})
    if len(codes) > MOST:
        problem = f"Only the first {MOST} of {len(codes)} cars are compared: more do not fit on a page."
        codes = codes[:MOST]
    try:
        cars = cars_of(codes)
    except NoSuchCar as error:
        return render(
            request, "setups/compare.html", context | {"problem": str(error), "too_few": True}, status=404
        )
    comparison = compare(cars, body)
    over = whole_number(request.GET.get("over", ""), 2, len(cars), 2)
    context |= {
        "problem": problem,
        "codes": codes,
        "cars": [
            {"number": number, "code": code, "report": report}
            for number, (code, report) in enumerate(zip(codes, comparison.reports, strict=True), start=1)
        ],
        "comparison": comparison,
        "over": over,
        "first": comparison.reports[0],
        "second": comparison.reports[over - 1],
    }
    return render(request, "setups/compare.html", context)
