"""Classes, their editions and clauses, and what changed from one edition to the next. Drafts are for race
directors only: to others they are not there (404)."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from club.models import RaceClass, RulebookEdition
from club.racing.editions import clauses_of, compare, editions_of, holds_on, today


def directs(request: HttpRequest) -> bool:
    return bool(getattr(request.user, "directs_races", False))


def seen_editions(request: HttpRequest, race_class: RaceClass) -> QuerySet[RulebookEdition]:
    """The editions of a class that whoever asks may see."""
    found = editions_of(race_class)
    return found if directs(request) else found.filter(published_at__isnull=False)


def seen_edition(request: HttpRequest, slug: str, pk: int) -> RulebookEdition:
    race_class = get_object_or_404(RaceClass, slug=slug)
    return get_object_or_404(seen_editions(request, race_class), pk=pk)


@require_safe
def race_classes(request: HttpRequest) -> HttpResponse:
    """Every class with the edition that holds today."""
    holding = {edition.race_class_id: edition for edition in RulebookEdition.objects.holding(today())}
    found = list(RaceClass.objects.all())
    for one in found:
        one.holding = holding.get(one.pk)
    return render(
        request, "racing/classes.html", {"classes": found, "directs": directs(request), "today": today()}
    )


@require_safe
def race_class(request: HttpRequest, slug: str) -> HttpResponse:
    """One class: the rules that hold today, and all editions."""
    found = get_object_or_404(RaceClass, slug=slug)
    editions = with_states(list(seen_editions(request, found)), holds_on(found, today()))
    holding = next((one for one in editions if one.state == "holds"), None)
    context: dict[str, Any] = {
        "race_class": found,
        "editions": editions,
        "holding": holding,
        "clauses": clauses_of(holding) if holding else [],
        "coming": next((one for one in reversed(editions) if one.state == "coming"), None),
        "directs": directs(request),
        "today": today(),
    }
    return render(request, "racing/class.html", context)


def with_states(editions: list[RulebookEdition], holding: RulebookEdition | None) -> list[RulebookEdition]:
    """The editions, latest first, each with its ``state`` today and the day on which it stops to hold."""
    until = None
    for one in editions:
        one.until = None
        if not one.is_published:
            one.state = "draft"
            continue
        if holding is not None and one.pk == holding.pk:
            one.state = "holds"
        else:
            one.state = "coming" if one.valid_from > today() else "past"
        one.until, until = until, one.valid_from
    return editions


@require_safe
def edition(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """One edition as members read it; for a race director also the way to write it."""
    found = seen_edition(request, slug, pk)
    every = with_states(list(seen_editions(request, found.race_class)), holds_on(found.race_class, today()))
    place = next(i for i, one in enumerate(every) if one.pk == found.pk)
    context = {
        "edition": every[place],
        "race_class": found.race_class,
        "clauses": clauses_of(found),
        "before": every[place + 1] if place + 1 < len(every) else None,
        "writes": directs(request) and not found.is_published,
        "directs": directs(request),
        "today": today(),
    }
    return render(request, "racing/edition.html", context)


@require_safe
def compare_editions(request: HttpRequest, slug: str) -> HttpResponse:
    """What changed from one edition to another; without a choice, to the latest from the one before it."""
    found = get_object_or_404(RaceClass, slug=slug)
    editions = list(seen_editions(request, found))
    by_key = {str(one.pk): one for one in editions}
    after = by_key.get(request.GET.get("after", ""), editions[0] if editions else None)
    older = [one for one in editions if after is not None and one.valid_from < after.valid_from]
    before = by_key.get(request.GET.get("before", ""), older[0] if older else None)
    changes = compare(before, after) if before is not None and after is not None else []
    context = {
        "race_class": found,
        "editions": editions,
        "before": before,
        "after": after,
        "changes": [one for one in changes if one.what != "same"],
        "same": sum(one.what == "same" for one in changes),
    }
    return render(request, "racing/compare.html", context)
