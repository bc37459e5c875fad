"""A setup's photos: add one, say what it shows, take it off, look at it."""

from __future__ import annotations

import logging

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from setups.forms_setup import STEPS
from setups.models import Photo, Setup
from setups.services import once, photos, posting
from setups.services.photos import PhotoError
from setups.views.post import own_draft, show_step

A_YEAR = 365 * 24 * 3600
LONGEST_CAPTION = 120
ASK_AGAIN = 30
"""Seconds after which a photo that could not be read may be asked for again."""

log = logging.getLogger(__name__)


@never_cache
@login_required
@require_POST
def add(request: HttpRequest, number: int) -> HttpResponse:
    """Keep one picture; refused, the page says why and the caption stays typed."""
    setup = get_object_or_404(Setup, pk=number, author=request.user)
    caption = request.POST.get("caption", "")
    try:
        if len(caption) > LONGEST_CAPTION:
            why = _("A caption takes {most} letters: shorten it, and choose the photo again.")
            raise PhotoError(why.format(most=LONGEST_CAPTION))
        photos.add(setup, request.FILES.get("photo"), caption, first=lambda: once.refuse_second(request))
        posting.draft_of(setup)
    except once.DoneBefore:
        messages.info(request, _("The photo was sent twice, and is on the draft once."))
        return redirect(_back(number))
    except PhotoError as error:
        draft = own_draft(request, number, begun=True)
        more = {"photo_error": str(error), "caption": caption}
        return show_step(request, draft, STEPS["photos"], 422, **more)
    messages.success(
        request, _("The photo is on the draft. Its place and time of taking are left out.")
    )
    return redirect(_back(number))


@never_cache
@login_required
@require_POST
def caption(request: HttpRequest, number: int, photo: int) -> HttpResponse:
    """Say what a photo shows."""
    row = get_object_or_404(Photo, pk=photo, setup=number, setup__author=request.user)
    text = request.POST.get("caption", "")
    if len(text) > LONGEST_CAPTION:
        why = _("A caption takes {most} letters. It stayed as it was.")
        messages.error(request, why.format(most=LONGEST_CAPTION))
        return redirect(_back(number))
    try:
        photos.caption(row, text)
    except PhotoError as error:
        messages.error(request, str(error))
        return redirect(_back(number))
    if request.htmx:  # the page saves it while it is typed
        return HttpResponse(status=204)
    messages.success(request, _("The caption is saved."))
    return redirect(_back(number))


@never_cache
@login_required
@require_POST
def remove(request: HttpRequest, number: int, photo: int) -> HttpResponse:
    """Take a photo off the draft; revisions that show it keep it."""
    row = get_object_or_404(Photo, pk=photo, setup=number, setup__author=request.user)
    posting.draft_of(row.setup)
    photos.remove(row)
    messages.success(request, _("The photo is off the draft. Revisions that show it keep it."))
    return redirect(_back(number))


@require_safe
def photo(request: HttpRequest, number: int, photo: int, small: bool = False) -> HttpResponse:
    """The picture itself. A draft's is its author's only; what an address shows never changes."""
    row = get_object_or_404(photos.seen_by(request.user), pk=photo, setup=number)
    try:
        file = photos.opened(row, small)
    except FileNotFoundError as error:
        raise Http404("The file of this photo is missing") from error
    except OSError:
        log.exception("Photo %s of setup %s cannot be read", photo, number)
        # A picture within a page: nobody reads more than this.
        text = _("The place where photos are kept does not answer just now.")
        answer = HttpResponse(text, status=503, content_type="text/plain; charset=utf-8")
        answer["Cache-Control"] = "no-store"
        answer["Retry-After"] = str(ASK_AGAIN)
        return answer
    response = FileResponse(file, content_type="image/webp", filename=f"setup-{number}-{photo}.webp")
    kept = f"public, max-age={A_YEAR}, immutable" if row.posted else "private, no-cache"
    response["Cache-Control"] = kept
    response["X-Content-Type-Options"] = "nosniff"
    return response


def _back(number: int) -> str:
    return f"{reverse('edit-setup', args=[number])}?step=photos"
