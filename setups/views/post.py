"""Post a setup: fill a draft in step by step, look it over, post it. ``drafts.py`` has where it starts.

A draft is its author's only: to anybody else it is not there (404).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.db.models import Count
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from setups.forms_setup import LENGTHS, STEPS, Step
from setups.models import Body, Draft, Revision, Setup
from setups.models.setup import typed_of
from setups.services import drafting, photos, posting
from setups.services.cars import NotBuildable
from setups.services.drafting import Collision, Judged, Typing, judge
from setups.services.saying import Clash, clashes, everything_in
from setups.services.tuned import tuned
from setups.translated import tell
from setups.typed import kept
from setups.units import typed_in

FOUND = 12
"""A search for a body shows so many."""
LONGEST = 100
UNSAVED = "unsaved_setup"
"""Where the session keeps what was typed by somebody whose signing in had run out."""
LONGEST_UNSAVED = 60_000

looked_at = require_http_methods(["GET", "HEAD", "POST"])


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
        draft = own_draft(request, number, typing.fields, begun="fill" in request.POST)
        return _sent(request, draft, typing, request.POST)
    draft = own_draft(request, number, begun=waiting)
    if waiting:
        del request.session[UNSAVED]
        sent = QueryDict(mutable=True)
        sent.update({"step": unsaved["step"], "go": unsaved["step"]})
        return _sent(request, draft, Typing(**unsaved["typing"]), sent)
    return show_step(request, draft, _step(request.GET.get("step", "")))


def own_draft(
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


def step_address(number: int, step: str, **more: str) -> str:
    """The address of a step of a draft's form."""
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
        return _leave_for(request, step_address(setup.pk, "parts"))
    if go == "send":
        return _post(request, draft)
    find = {"find": sent["find"][:LONGEST]} if step.key == "car" and go == "car" and sent.get("find") else {}
    return _leave_for(request, step_address(setup.pk, _step(go).key if go else step.key, **find))


def _leave_for(request: HttpRequest, address: str) -> HttpResponse:
    if request.htmx:
        return HttpResponse(headers={"HX-Redirect": address})
    return redirect(address)


def _signed_out(request: HttpRequest, number: int) -> HttpResponse:
    """To the sign-in page; what was typed waits in the session and is saved when the member comes back."""
    step = _step((request.POST if request.method == "POST" else request.GET).get("step", ""))
    back = step_address(number, step.key)
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


def show_step(request: HttpRequest, draft: Draft, step: Step, status: int = 200, **more: Any) -> HttpResponse:
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
    response = show_step(request, draft, step, 200 if request.htmx else 422, tried=True, refused=refused)
    if request.htmx:
        response["HX-Retarget"] = response["HX-Reselect"] = "#main"
        response["HX-Reswap"] = "outerHTML show:window:top"
    return response
