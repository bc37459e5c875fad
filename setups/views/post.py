"""Post a setup: start a draft, fill it in step by step, look it over, post it.

A draft is its author's only: to anybody else it is not there (404).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import redirect_to_login
from django.core.paginator import Paginator
from django.db import transaction
from django.db.models import Count, Q
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.text import Truncator
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fitcalc.parts import Slot
from setups.forms_setup import LENGTHS, STEPS, Step
from setups.models import Body, Draft, Platform, Revision, Setup
from setups.models.setup import typed_of
from setups.services import drafting, once, photos, posting
from setups.services.cars import NotBuildable
from setups.services.drafting import Collision, Judged, Typing, judge
from setups.services.fitting import platforms_for
from setups.services.saying import Clash, clashes, everything_in
from setups.services.tuned import tuned
from setups.translated import tell
from setups.typed import kept
from setups.units import typed_in

MOST_DRAFTS = 60
"""A member keeps so many drafts that were never posted."""
A_PAGE = 30
FOUND = 12
"""A search for a body shows so many."""
LONGEST = 100
UNSAVED = "unsaved_setup"
"""Where the session keeps what was typed by somebody whose signing in had run out."""
LONGEST_UNSAVED = 60_000

looked_at = require_http_methods(["GET", "HEAD", "POST"])


# Start


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
        return redirect(_address(draft.setup_id, "parts" if ready else "car"))
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


# What a member has


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


# Fill it in


@never_cache
@looked_at
def edit(request: HttpRequest, number: int) -> HttpResponse:
    """One step of the form, with what the car comes to beside it. Everything sent is saved first."""
    if not request.user.is_authenticated:
        return _signed_out(request, number)
    unsaved = request.session.get(UNSAVED, {})
    waiting = unsaved.get("number") == number
    if request.method == "POST":
        typing = _typing(request.POST)
        if request.POST.get("go") == "send" and (posted := _posted_before(request, number, typing)):
            return _told_posted(request, posted)
        draft = _draft(request, number, typing.fields, begun="fill" in request.POST)
        return _sent(request, draft, typing, request.POST)
    draft = _draft(request, number, begun=waiting)
    if waiting:
        del request.session[UNSAVED]
        sent = QueryDict(mutable=True)
        sent.update({"step": unsaved["step"], "go": unsaved["step"]})
        return _sent(request, draft, Typing(**unsaved["typing"]), sent)
    return _show(request, draft, _step(request.GET.get("step", "")))


def _draft(
    request: HttpRequest, number: int, sent: Mapping[str, str] | None = None, begun: bool = False
) -> Draft:
    """The draft of one's own setup; of another's there is none (404).

    That of a posted setup begins once what is ``sent`` differs, or with ``begun``; until then it is what the
    revision says, unsaved.
    """
    setup = get_object_or_404(Setup.objects.select_related("current"), pk=number, author=request.user)
    draft = Draft.objects.filter(setup=setup).first()
    if draft is None:
        assert setup.current is not None
        draft = Draft(typed=typed_of(setup.current))
        if begun or any(text != draft.typed.get(name, "") for name, text in (sent or {}).items()):
            draft = posting.draft_of(setup)
    draft.setup = setup
    return draft


def _address(number: int, step: str, **more: str) -> str:
    return f"{reverse('edit-setup', args=[number])}?{urlencode({'step': step} | more)}"


def _step(key: str) -> Step:
    return STEPS.get(key, STEPS["car"])


def _typing(sent: Any) -> Typing:
    """What a form sends of its step; line ends as one letter, so that the same words are the same."""
    step = _step(sent.get("step", ""))
    fields = {name: sent[name].replace("\r\n", "\n") for name in step.fields if name in sent}
    fields |= {name: kept(fields[name], unit, typed_in(sent)) for name, unit in LENGTHS if name in fields}
    try:
        was = json.loads(sent.get("was", ""))
    except (ValueError, RecursionError):
        was = {}
    was = {name: text for name, text in was.items() if isinstance(text, str)} if isinstance(was, dict) else {}
    version = drafting.key_in(sent.get("version", "")) or 0
    choices = {name: sent[f"choice_{name}"] for name in fields if f"choice_{name}" in sent}
    return Typing(fields, was, version).choosing(choices)


def _sent(request: HttpRequest, draft: Draft, typing: Typing, sent: Any) -> HttpResponse:
    """Save what was sent, then do what the button says; without one, the page saves by itself."""
    step, go = _step(sent.get("step", "")), sent.get("go", "")
    fill = drafting.key_in(sent.get("fill", ""))
    by_itself = bool(request.htmx) and not go and fill is None
    undecided = [name for name in sent.getlist("clash") if not sent.get(f"choice_{name}")]
    setup = draft.setup
    try:
        if undecided:
            raise Collision(Draft.objects.get(pk=draft.pk), undecided, typing.fields)
        brought: list[str] = []
        if draft.pk is not None:
            draft, brought = drafting.keep(draft, typing, untouched_only=by_itself)
    except posting.PostingError as error:
        messages.error(request, str(error))
        return _leave_for(request, reverse("my-setups"))
    except Collision as collision:
        draft = collision.stored
        draft.setup = setup
        if by_itself:
            return _told_of_others(request, draft, step)
        return _conflict(request, collision, step, go or step.key, bool(undecided))
    draft.setup = setup
    if by_itself:
        body_moved = typing.fields.get("body", "") != typing.was.get("body", "")
        return _live(request, draft, step, body_moved=body_moved)
    if brought:
        names = ", ".join(clash.label for clash in clashes(brought, draft.typed, draft.typed))
        brought_in = _("Brought together with what was typed elsewhere meanwhile: {names}.")
        messages.info(request, brought_in.format(names=names))
    if fill is not None:
        draft, _brought = drafting.keep(
            draft, Typing(drafting.filled_in(judge(draft), fill), draft.typed, draft.version)
        )
        return _leave_for(request, _address(setup.pk, "parts"))
    if go == "send":
        return _post(request, draft)
    find = {"find": sent["find"][:LONGEST]} if step.key == "car" and go == "car" and sent.get("find") else {}
    return _leave_for(request, _address(setup.pk, _step(go).key if go else step.key, **find))


def _leave_for(request: HttpRequest, address: str) -> HttpResponse:
    if request.htmx:
        return HttpResponse(headers={"HX-Redirect": address})
    return redirect(address)


def _signed_out(request: HttpRequest, number: int) -> HttpResponse:
    """To the sign-in page; what was typed waits in the session and is saved when the member comes back."""
    step = _step((request.POST if request.method == "POST" else request.GET).get("step", ""))
    back = _address(number, step.key)
    if request.method == "POST":
        if request.htmx and not request.POST.get("go"):
            return render(request, "setups/post/_signed_out.html", {"step": step})
        typing = _typing(request.POST)
        kept = {"fields": dict(typing.fields), "was": dict(typing.was), "version": typing.version}
        if len(json.dumps(kept)) <= LONGEST_UNSAVED:
            request.session[UNSAVED] = {"number": number, "step": step.key, "typing": kept}
    to = redirect_to_login(back)
    return _leave_for(request, to.url)


# What is shown


def _show(request: HttpRequest, draft: Draft, step: Step, status: int = 200, **more: Any) -> HttpResponse:
    return render(request, "setups/post/edit.html", _context(request, draft, step) | more, status=status)


def _context(request: HttpRequest, draft: Draft, step: Step) -> dict[str, Any]:
    find = request.GET.get("find", "").strip()[:LONGEST]
    found = []
    if find and step.key == "car":
        found = list(Body.objects.matching(find).select_related("maker")[: FOUND + 1])
    judged = judge(draft, found[:FOUND])
    keys = list(STEPS)
    at = keys.index(step.key)
    context = {
        "judged": judged,
        "draft": draft,
        "setup": draft.setup,
        "name": draft.typed.get("name", "").strip() or _("Setup without a name"),
        "step": step,
        "number": at + 1,
        "before": STEPS[keys[at - 1]] if at else None,
        "after": STEPS[keys[at + 1]] if at + 1 < len(keys) else None,
        "steps": [(one, len(judged.on(one.key)), _begun(judged, one)) for one in STEPS.values()],
        "was": json.dumps({name: draft.typed.get(name, "") for name in step.fields}),
        "form": judged.forms.get(step.key),
        "report": judged.report,
        "find": find,
        "nothing_found": bool(find) and not found,
        "more_found": len(found) > FOUND,
    }
    if step.key == "parts":
        context["supplied"] = drafting.supplied(judged)
    elif step.key == "settings" and judged.report and judged.forms["settings"].is_valid():
        settings = judged.forms["settings"].cleaned_data["tuning"]
        context["tuned"] = tuned(settings, judged.report.geometry)
    elif step.key == "ran":
        own = Setup.objects.exclude(circuit="").values_list("circuit", flat=True)
        context["circuits"] = own.annotate(times=Count("pk")).order_by("-times", "circuit").distinct()[:30]
    elif step.key == "post":
        context["sheet"] = everything_in(judged)
        if draft.setup.current is not None:
            before = typed_of(draft.setup.current)
            names = [n for s in STEPS.values() for n in s.fields if n != "what_changed"]
            changed = [n for n in names if before.get(n, "") != draft.typed.get(n, "")]
            context["changed"] = clashes(changed, before, draft.typed)
            shown = {one.pk for one in draft.setup.current.photos.all()}
            context["photos_changed"] = shown != {one.pk for one in judged.photos}
    if step.key in ("photos", "post"):
        context["most_photos"] = photos.MOST
        context["photos_left"] = photos.MOST - len(judged.photos)
    return context


def _begun(judged: Judged, step: Step) -> bool:
    if step.key == "photos":
        return bool(judged.photos)
    return any(judged.draft.typed.get(name) for name in step.fields)


def _live(request: HttpRequest, draft: Draft, step: Step, **more: Any) -> HttpResponse:
    """What the page puts in place after it saved by itself: the answer, when it was saved, the steps."""
    context = _context(request, draft, step) | {"swap": True} | more
    response = render(request, "setups/post/_live.html", context)
    response["Cache-Control"] = "no-store"
    return response


def _told_of_others(request: HttpRequest, draft: Draft, step: Step) -> HttpResponse:
    return render(request, "setups/post/_elsewhere.html", {"draft": draft, "step": step})


def _conflict(
    request: HttpRequest, collision: Collision, step: Step, go: str, undecided: bool
) -> HttpResponse:
    """Both words of each field that was changed on two sides, to choose from. Nothing is saved yet."""
    stands = collision.stored.typed
    found: list[Clash] = clashes(collision.fields, stands, collision.typed)
    context = {
        "setup": collision.stored.setup,
        "draft": collision.stored,
        "step": step,
        "go": go,
        "clashes": found,
        "typed": collision.typed,
        "was": json.dumps({name: stands.get(name, "") for name in step.fields}),
        "undecided": undecided,
    }
    response = render(request, "setups/post/conflict.html", context, status=200 if request.htmx else 409)
    if request.htmx:
        response["HX-Retarget"] = response["HX-Reselect"] = "#main"
        response["HX-Reswap"] = "outerHTML show:window:top"
    return response


# Post it


def _posted_before(request: HttpRequest, number: int, typing: Typing) -> Revision | None:
    """The revision that this form has posted already, its draft being done with: a button pressed twice."""
    rows = Revision.objects.select_related("setup").filter(current_of=number, author=request.user)
    revision = rows.filter(setup__draft__isnull=True).first()
    if revision is None or typing.fields.get("what_changed", "").strip() != revision.what_changed:
        return None
    return revision


def _told_posted(request: HttpRequest, revision: Revision) -> HttpResponse:
    said = _("“{name}” is posted already, and nothing has changed since.").format(name=revision.name)
    messages.info(request, said)
    return _leave_for(request, revision.setup.get_absolute_url())


def _post(request: HttpRequest, draft: Draft) -> HttpResponse:
    """Post the draft if it is complete; otherwise say what is to be done, with everything as it was."""
    judged = judge(draft)
    step = STEPS["post"]
    refused = ""
    if not judged.problems and judged.fails and not request.POST.get("acknowledged"):
        refused = "unacknowledged"
    elif not judged.problems:
        try:
            version = None if draft.pk is None else draft.version
            revision = posting.post(judged.content(), request.user, draft.setup, version)
        except posting.PostedAlready:
            return _told_posted(request, Revision.objects.get(current_of=draft.setup))
        except posting.Conflict:
            refused = _(
                "Somebody changed the draft at the same moment. Look it over once more, then post it."
            )
        except (posting.PostingError, NotBuildable) as error:
            refused = tell(error)
        else:
            if revision.number > 1:
                done = _(
                    "“{name}” is posted as revision {number}. It counts as verified once two other "
                    "members measured the car and agree."
                )
            else:
                done = _(
                    "“{name}” is posted. It counts as verified once two other members measured the "
                    "car and agree."
                )
            messages.success(request, done.format(name=revision.name, number=revision.number))
            return _leave_for(request, revision.setup.get_absolute_url())
    response = _show(request, draft, step, 200 if request.htmx else 422, tried=True, refused=refused)
    if request.htmx:
        response["HX-Retarget"] = response["HX-Reselect"] = "#main"
        response["HX-Reswap"] = "outerHTML show:window:top"
    return response


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
