"""Load a member's spreadsheet: check it row by row, then load all of it or nothing.

The text travels with the page: what was checked stands in the form that loads it, with the fingerprint of
what was shown. Nothing is kept on the server between the two, so nothing can be lost there; loading plans
again under lock, and shows the new plan instead where it would no longer do what was shown. Only when
somebody has to sign in first is the text kept, in their session.
"""

from __future__ import annotations

import csv
import io
from math import ceil

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.defaultfilters import filesizeformat
from django.urls import reverse
from django.utils.formats import number_format
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from fitcalc.said import said
from setups.api.throttles import Checking
from setups.imports.columns import Kind
from setups.imports.kinds import KINDS
from setups.imports.load import Loaded, load
from setups.imports.plan import Outcome, Plan, plan_of
from setups.imports.planned import By
from setups.imports.reading import Unreadable, as_text, decoded
from setups.imports.record_kinds import RECORDS
from setups.models import Measurement
from setups.translated import tell

KEPT = "import_kept"
DONE = "import_done"
MOST_KEPT = 200_000
"""So many characters are kept in the session of somebody who has to sign in first."""
AT_ONCE = 100
"""So many rows of each outcome are listed until all are asked for."""
MOST_LINKED = 500
ON_PAGES = {key: kind for key, kind in KINDS.items() if not kind.whole}
"""What can be loaded here; the rest only with a whole library, by ``manage.py import_library``."""
_GROUPS = {
    Outcome.WRONG: said("To correct"),
    Outcome.CHANGED: said("Would change"),
    Outcome.NEW: said("New"),
    Outcome.UNCHANGED: said("No change"),
}


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def imports(request: HttpRequest) -> HttpResponse:
    """The form with its columns explained; on a POST the dry run, or the loading."""
    asked = request.POST.get("kind") or request.GET.get("kind") or "bodies"
    kind = ON_PAGES.get(asked, KINDS["bodies"])
    if request.method != "POST":
        return _form(request, kind, **_kept(request))
    if (wait := _wait(request)) is not None:
        return _later(request, kind, wait)
    try:
        text, encoding = _text(request)
    except Unreadable as unreadable:
        return _form(request, kind, text=request.POST.get("text", ""), unreadable=tell(unreadable))
    act = request.POST.get("act", "check")
    if act == "sign-in":
        return _sign_in(request, kind, text)
    if act == "load" and not request.FILES:
        return _load(request, kind, text)
    return _dry_run(request, kind, plan_of(kind, text, by=_by(request)), text, encoding=encoding)


def _wait(request: HttpRequest) -> int | None:
    """Seconds until a visitor may have another file checked; ``None`` for at once, and for a member."""
    if request.user.is_authenticated:
        return None
    rate = Checking()
    return None if rate.allow_request(request, None) else ceil(rate.wait())


def _later(request: HttpRequest, kind: Kind, seconds: int) -> HttpResponse:
    why = _(
        "Visitors may have so many files a minute checked, and this was one more: try again in "
        "{seconds} seconds, or sign in. Pasted text stands below as it was; a file is to be chosen "
        "again."
    )
    why = why.format(seconds=seconds)
    answer = _form(request, kind, text=request.POST.get("text", ""), unreadable=why, status=429)
    answer["Retry-After"] = str(seconds)
    return answer


def _text(request: HttpRequest) -> tuple[str, str]:
    """The chosen file's text with the name of its encoding, else the pasted text. Raises Unreadable."""
    file = request.FILES.get("file")
    if file is None:
        return as_text(request.POST.get("text", "")), ""
    if file.size > settings.DATA_UPLOAD_MAX_MEMORY_SIZE:
        limit = filesizeformat(settings.DATA_UPLOAD_MAX_MEMORY_SIZE)
        why = _("The file is larger than {limit}. Split it and load it in parts.")
        raise Unreadable(why.format(limit=limit))
    return decoded(file.read())


def _form(
    request: HttpRequest, kind: Kind, text: str = "", unreadable: str = "", status: int = 422
) -> HttpResponse:
    context = _context(request, kind, text) | {"unreadable": unreadable, "later": status == 429}
    return render(request, "setups/imports.html", context, status=status if unreadable else 200)


def _dry_run(
    request: HttpRequest, kind: Kind, plan: Plan, text: str, encoding: str = "", notice: str = ""
) -> HttpResponse:
    at_once = None if request.POST.get("all") else AT_ONCE
    context = _context(request, kind, text) | {
        "plan": plan,
        "groups": [
            (outcome, _(words), rows[:at_once], len(rows))
            for outcome, words in _GROUPS.items()
            if (rows := plan.of(outcome))
        ],
        "cut": at_once is not None and any(len(plan.of(outcome)) > at_once for outcome in _GROUPS),
        "encoding": encoding,
        "notice": notice,
    }
    return render(request, "setups/import_check.html", context)


def _context(request: HttpRequest, kind: Kind, text: str) -> dict[str, object]:
    return {
        "kind": kind,
        "kinds": [one for one in ON_PAGES.values() if one not in RECORDS],
        "rest": [one for one in RECORDS if not one.whole],
        "text": text,
        "most_bytes": settings.DATA_UPLOAD_MAX_MEMORY_SIZE,
        "may_load": _may_load(request, kind),
        "keeps_library": _by(request).keeps_library,
    }


def _by(request: HttpRequest) -> By:
    if not request.user.is_authenticated:
        return By()
    return By(request.user, getattr(request.user, "keeps_library", False))


def _may_load(request: HttpRequest, kind: Kind) -> bool:
    by = _by(request)
    return by.keeps_library or (kind.own and by.member is not None)


def _load(request: HttpRequest, kind: Kind, text: str) -> HttpResponse:
    if not _may_load(request, kind):
        notice = _("Nothing was loaded: only members who keep the library load that into it.")
        return _dry_run(request, kind, plan_of(kind, text, by=_by(request)), text, notice=notice)
    plan, loaded = load(kind, text, request.POST.get("seen", ""), _by(request))
    if loaded is None:
        notice = _(
            "The library or the text has changed since you checked it, and nothing was loaded. This "
            "is what loading would do now."
        )
        return _dry_run(request, kind, plan, text, notice=notice)
    _keep_done(request, kind, loaded)
    return redirect("import-loaded")


def _keep_done(request: HttpRequest, kind: Kind, loaded: Loaded) -> None:
    request.session[DONE] = {
        "kind": kind.key,
        "new": loaded.new,
        "changed": loaded.changed,
        "makers": loaded.makers,
    }


@never_cache
@require_safe
def loaded(request: HttpRequest) -> HttpResponse:
    """What this member loaded last, with links."""
    done = request.session.get(DONE)
    if done is None:
        messages.info(request, _("Nothing has been loaded since you signed in."))
        return redirect("imports")
    kind = KINDS[done["kind"]]
    rows = _linked(kind, [*done["new"][:MOST_LINKED], *done["changed"][:MOST_LINKED]])
    context = {
        "kind": kind,
        "done": done,
        "new": [rows[pk] for pk in done["new"][:MOST_LINKED] if pk in rows],
        "changed": [rows[pk] for pk in done["changed"][:MOST_LINKED] if pk in rows],
    }
    return render(request, "setups/import_loaded.html", context)


def _linked(kind: Kind, keys: list[int]) -> dict[int, object]:
    """What was loaded and has a page, by key; of measurements, what was measured."""
    query = kind.model._default_manager.all()
    if kind.model is Measurement:
        query = query.select_related("body__maker", "part__maker", "revision")
        return {pk: row.subject for pk, row in query.in_bulk(keys).items()}
    if not hasattr(kind.model, "get_absolute_url"):
        return {}
    if kind.key in ("bodies", "parts"):
        query = query.select_related("maker")
    return dict(query.in_bulk(keys))


def _sign_in(request: HttpRequest, kind: Kind, text: str) -> HttpResponse:
    """Keep the text in the session while its owner signs in."""
    if len(text) > MOST_KEPT:
        notice = _(
            "Text of more than {most} characters is not kept while you sign in: sign in from the top "
            "of the page, then choose the file again."
        )
        notice = notice.format(most=number_format(MOST_KEPT, force_grouping=True))
        return _dry_run(request, kind, plan_of(kind, text, by=_by(request)), text, notice=notice)
    request.session[KEPT] = {"kind": kind.key, "text": text}
    back = f"{reverse('imports')}?kind={kind.key}"
    return redirect(f"{reverse('sign-in')}?{urlencode({'next': back})}")


def _kept(request: HttpRequest) -> dict[str, str]:
    """The text that was kept while its owner signed in; it is given once, to somebody signed in."""
    kept = request.session.get(KEPT) if request.user.is_authenticated else None
    if kept is None:
        return {}
    del request.session[KEPT]
    return {"text": kept["text"]}


@require_safe
def template(request: HttpRequest, what: str) -> HttpResponse:
    """A CSV file with all headings and one row to overwrite."""
    kind = ON_PAGES.get(what)
    if kind is None:
        raise Http404("There is no such template: choose one from the list of imports")
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\r\n")
    rows.writerow(column.key for column in kind.template)
    rows.writerow(kind.example.get(column.key, "") for column in kind.template)
    # The mark tells spreadsheet programs that it is UTF-8.
    response = HttpResponse("\ufeff" + out.getvalue(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{kind.key}.csv"'
    return response
