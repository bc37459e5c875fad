"""A member's drafts: start one, see them with what was posted, throw one away; ``post.py`` fills them in."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import redirect_to_login
from django.core.paginator import Paginator
from django.db import transaction
from django.db.models import Count, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.text import Truncator
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from fitcalc.parts import Slot
from setups.models import Body, Draft, Platform, Revision, Setup
from setups.services import drafting, once, photos, posting
from setups.services.fitting import platforms_for
from setups.views.post import LONGEST, looked_at, step_address

MOST_DRAFTS = 60
"""A member keeps so many drafts that were never posted."""
A_PAGE = 30


@never_cache
@looked_at
def new(request: HttpRequest) -> HttpResponse:
    """What the address names to start from, and a name; the draft begins when that is sent."""
    name = (request.POST if request.method == "POST" else request.GET).get("name", "")
    if not request.user.is_authenticated:
        query = request.GET.copy()
        query["name"] = name[:LONGEST]
        return redirect_to_login(f"{request.path}?{query.urlencode()}" if name else request.get_full_path())
    origin, typed, shown = _origin(request)
    drafts = Setup.objects.filter(author=request.user, state=Setup.State.DRAFT).count()
    if request.method == "POST" and drafts < MOST_DRAFTS:
        with transaction.atomic():
            if once.done_before(request):
                messages.info(request, _("That was sent twice, and is begun once: here it is."))
                return redirect("my-setups")
            draft = posting.begin(request.user, typed | {"name": name}, origin)
        ready = typed.get("body") and typed.get("platform")
        return redirect(step_address(draft.setup_id, "parts" if ready else "car"))
    context = shown | {
        "origin": origin,
        "name": name or _suggested(shown),
        "full": drafts >= MOST_DRAFTS,
        "drafts": drafts,
        "mine": Setup.objects.filter(author=request.user, current__isnull=False)[:6],
    }
    return render(request, "setups/post/start.html", context)


def _origin(request: HttpRequest) -> tuple[Revision | None, dict[str, str], dict[str, Any]]:
    """What the address says to start from: the revision, the typing that it gives, and what to show of it."""
    asked = request.GET
    key = drafting.key_in(asked.get("from", ""))
    if key is not None:
        revision = (
            Revision.objects.filter(pk=key)
            .filter(~Q(setup__state=Setup.State.DRAFT) | Q(setup__author=request.user))
            .select_related("setup__author", "body", "platform")
            .first()
        )
        if revision is None:
            raise Http404("There is no such setup to start from")
        shown = {"body": revision.body, "platform": revision.platform, "chosen": revision.slots.count()}
        return revision, drafting.start_from(revision), shown
    body = Body.objects.filter(slug=asked.get("body", "")[:140]).select_related("maker").first()
    platform = Platform.objects.filter(slug=asked.get("platform", "")[:80]).select_related("maker").first()
    if platform is None and body is not None:
        only = list(platforms_for(body)[:2])
        platform = only[0] if len(only) == 1 else None
    typed = drafting.start_with(body, platform, asked.dict())
    chosen = sum(1 for slot in Slot if slot is not Slot.POSITION and typed.get(slot.value))
    return None, typed, {"body": body, "platform": platform, "chosen": chosen}


def _suggested(shown: dict[str, Any]) -> str:
    body, platform = shown["body"], shown["platform"]
    if body and platform:
        return _("{body} on the {platform}").format(body=body, platform=platform)[:120]
    return str(body or platform or "")[:120]


@never_cache
@login_required
@require_safe
def mine(request: HttpRequest) -> HttpResponse:
    """One's drafts and posted setups, in a constant number of queries."""
    own = Setup.objects.filter(author=request.user)
    drafts = list(
        own.filter(state=Setup.State.DRAFT)
        .select_related("draft", "started_from")
        .annotate(shots=Count("photos", filter=Q(photos__removed=False)))
        .order_by("-draft__saved_at", "-pk")
    )
    keys = {one.pk: drafting.key_in(one.draft.typed.get("body", "")) for one in drafts}
    bodies = Body.objects.in_bulk([key for key in keys.values() if key])
    for one in drafts:
        one.on = bodies.get(keys[one.pk])
    posted = own.exclude(state=Setup.State.DRAFT).select_related("body", "platform", "current", "draft")
    page = Paginator(posted, A_PAGE).get_page(request.GET.get("page"))
    for one in page.object_list:
        one.unposted = hasattr(one, "draft")
    return render(request, "setups/post/mine.html", {"drafts": drafts, "page": page})


@never_cache
@login_required
@require_POST
def discard(request: HttpRequest, number: int) -> HttpResponse:
    """Throw the draft away; a setup that was never posted goes with it, photos and all."""
    setup = get_object_or_404(Setup, pk=number, author=request.user)
    name = Truncator(str(setup)).chars(60)
    draft = Draft.objects.filter(setup=setup).first()
    if draft is not None:
        photos.as_posted(setup)
        posting.discard(draft)
        done = _("The draft of “{name}” is thrown away.")
        messages.success(request, done.format(name=name))
    return redirect("my-setups")
