"""Measure a dimension: all that members measured on one chart, what it settles to, and one's own reading."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from fitcalc.consensus import Agreement, Consensus, Score, Standing
from fitcalc.dimensions import DimensionKind
from fitcalc.findings import Verdict
from fitcalc.quantities import Quantity
from setups.drawing.measured import Chart, Reading, chart
from setups.forms import MeasurementForm
from setups.models import Body, Measurement, Part, Setup, StatedFigure
from setups.models.dimension import Basis
from setups.printing import plus_minus
from setups.services import measuring, once, verifying
from setups.services.ruling import Turn
from setups.services.verifying import Rechecked
from setups.templatetags.figures import dimension_name, verdict_word

_TYPED = {"value": 40, "instrument": 20, "uncertainty": 40, "note": 200, "units": 4}
"""Fields that the address may fill in, and the longest text of each: what was typed before signing in."""
_NAMED = 5
"""So many setups that a figure turned are named."""


@dataclass(frozen=True, slots=True)
class Line:
    """One reading that counts, and how it stands to the settled value."""

    row: Measurement
    score: Score
    outlier: bool
    unit: Any

    @property
    def quantity(self) -> Quantity:
        return Quantity(float(self.row.value), self.row.u, self.unit)

    @property
    def above(self) -> bool:
        return self.score.difference > 0

    @property
    def apart(self) -> Quantity:
        return Quantity(abs(self.score.difference), self.score.u_difference, self.unit)


@dataclass(frozen=True, slots=True)
class Person:
    """A member with several readings, taken together."""

    name: str
    standing: Standing
    quantity: Quantity


class Sheet:
    """All that is known of one dimension of ``subject``, as the page shows it."""

    def __init__(self, subject: Body | Part, kind: DimensionKind) -> None:
        self.subject, self.kind = subject, kind
        self.is_body = isinstance(subject, Body)
        rows = list(measuring.measurements_of(subject, kind.key))
        self.rows = [row for row in rows if row.counts]
        self.withdrawn = [row for row in rows if row.withdrawn]
        self.figure = measuring.figure_of(subject, kind.key)
        self.stated: StatedFigure | None = measuring.stated_of(subject, kind.key)
        self.settled: Consensus | None = measuring.settled(rows, kind)

    @property
    def name(self) -> str:
        return dimension_name(self.kind.key)

    @property
    def address(self) -> str:
        name = "measure-body" if self.is_body else "measure-part"
        return reverse(name, args=[self.subject.slug, self.kind.key])

    @cached_property
    def lines(self) -> list[Line]:
        if self.settled is None:
            return []
        out = set(self.settled.outliers)
        return [
            Line(row, score, row.member_id in out, self.kind.unit)
            for row, score in zip(self.rows, self.settled.scores, strict=True)
        ]

    @property
    def outliers(self) -> list[Line]:
        return [line for line in self.lines if line.outlier]

    @property
    def people(self) -> list[Person]:
        """Members with several readings."""
        if self.settled is None:
            return []
        names = {row.member_id: str(row.member) for row in self.rows}
        return [
            Person(names[one.measurer], one, Quantity(one.value, one.u, self.kind.unit))  # type: ignore[index]
            for one in self.settled.standings
            if one.readings > 1
        ]

    @property
    def members(self) -> int:
        return 0 if self.settled is None else len(self.settled.standings)

    @property
    def disputed(self) -> bool:
        return self.settled is not None and self.settled.agreement is Agreement.DISPUTED

    @property
    def stated_stands(self) -> bool:
        """True where members measured, and yet what the library had before is still its figure."""
        if self.settled is None or self.figure is None:
            return False
        return not measuring.SETTLED_SOURCE.match(self.figure.source)

    @property
    def where(self) -> str:
        """Where the library's figure is from: ``settled by 4 members’ measurements``."""
        if self.figure is None:
            return ""
        source = self.figure.source.replace("'", "’")
        if measuring.SETTLED_SOURCE.match(source):
            number = int(measured[1]) if (measured := re.match(r"(\d+) members", source)) else 1
            if number == 1:
                return _("settled by a member’s measurement")
            if source.endswith(", disputed"):
                said = _("settled by {number} members’ measurements, disputed")
            else:
                said = _("settled by {number} members’ measurements")
            return said.format(number=number)
        basis = _(self.figure.get_basis_display()).replace("'", "’")
        return f"{basis} ({source})" if source else basis

    @property
    def stated_word(self) -> str:
        """What the stated figure is called: ``the maker’s figure``."""
        basis = self.stated.basis if self.stated else ""
        return _("the maker’s figure") if basis == Basis.MAKER else _("the figure before")

    @cached_property
    def chart(self) -> Chart | None:
        if self.settled is None:
            return None
        readings = [
            Reading(
                str(line.row.member),
                float(line.row.value),
                line.row.u,
                "" if not line.outlier else _("outlier, above") if line.above else _("outlier, below"),
                line.outlier,
            )
            for line in self.lines
        ]
        stated = None
        if self.stated is not None:
            stated = (self.stated_word[0].upper() + self.stated_word[1:], self.stated.quantity_value())
        return chart(readings, self.settled.value, stated, self.kind.unit)


@require_http_methods(["GET", "HEAD", "POST"])
def measure_body(request: HttpRequest, slug: str, quantity: str) -> HttpResponse:
    """A body's dimension: chart, table and form."""
    return _measure(request, get_object_or_404(Body, slug=slug), quantity)


@require_http_methods(["GET", "HEAD", "POST"])
def measure_part(request: HttpRequest, slug: str, quantity: str) -> HttpResponse:
    """A part's dimension: chart, table and form."""
    return _measure(request, get_object_or_404(Part, slug=slug), quantity)


@require_POST
def withdraw(request: HttpRequest, number: int) -> HttpResponse:
    """Let one's own measurement count no more; only by its member."""
    row = get_object_or_404(Measurement.objects.select_related("body", "part", "revision"), pk=number)
    if row.revision is not None:
        address = reverse("measure-car", args=[row.revision.setup_id, row.quantity])
    else:
        name = "measure-body" if row.part_id is None else "measure-part"
        address = reverse(name, args=[row.subject.slug, row.quantity])
    if not request.user.is_authenticated:
        return redirect_to_login(address)
    if row.withdrawn:
        messages.info(request, _("That measurement is withdrawn already. Nothing was changed."))
        return redirect(address)
    try:
        if row.revision is not None:
            turn = verifying.withdraw(row, request.user)
            messages.success(request, _("Your reading is withdrawn and counts no more."))
            say_turn(request, turn)
            return redirect(address)
        outcome = measuring.withdraw(row, request.user)
    except PermissionError as error:
        raise PermissionDenied(str(error)) from error
    done = _("Your measurement is withdrawn and counts no more.")
    messages.success(request, f"{done} {_what_moved(outcome)}")
    _say_verdicts(request, outcome)
    return redirect(address)


def _measure(request: HttpRequest, subject: Body | Part, quantity: str) -> HttpResponse:
    kinds = {kind.key: kind for kind in measuring.measurable(subject)}
    if quantity not in kinds:
        raise Http404("Nobody measures that here")
    typed = typed_of(request)
    if request.method == "POST" and not request.user.is_authenticated:
        return redirect_to_login(f"{request.path}?{urlencode(typed)}")
    form = None
    if request.user.is_authenticated:
        about = {"body": subject} if isinstance(subject, Body) else {"part": subject}
        instance = Measurement(member=request.user, quantity=quantity, **about)  # type: ignore[misc]
        if request.method == "POST":
            form = MeasurementForm(request.POST, instance=instance)
            if form.is_valid() and _added(request, form):
                return redirect(request.path)
        else:
            form = MeasurementForm(initial=typed, instance=instance)
    context = {"sheet": Sheet(subject, kinds[quantity]), "form": form, "subject": subject}
    return render(request, "setups/measure.html", context, status=422 if form and form.errors else 200)


def typed_of(request: HttpRequest) -> dict[str, str]:
    """What was typed into the form, in the address or posted; kept over signing in."""
    source = request.POST if request.method == "POST" else request.GET
    return {name: text[:most] for name, most in _TYPED.items() if (text := source.get(name, "").strip())}


def _added(request: HttpRequest, form: MeasurementForm) -> bool:
    """Store what the form holds and say what that did; at a member's limit say so on the form."""
    try:
        outcome = measuring.add(form.instance, first=lambda: once.refuse_second(request))
    except once.DoneBefore:
        say_twice(request)
        return True
    except measuring.MeasuringError as error:
        form.add_error(None, str(error))
        return False
    done = _("Your measurement is added.")
    messages.success(request, f"{done} {_what_moved(outcome)}")
    now = outcome.settled
    if now is not None and request.user.pk in now.outliers:
        messages.warning(
            request,
            _(
                "It lies outside what the other members agree on, so it does not count towards the "
                "figure. Measure again, and withdraw it if it was a slip."
            ),
        )
    _say_verdicts(request, outcome)
    return True


def say_twice(request: HttpRequest) -> None:
    messages.info(request, _("Your reading was sent twice, and is here once."))


def _what_moved(outcome: measuring.Outcome) -> str:
    before, after = outcome.before, outcome.after
    if not outcome.changed:
        return _("The library’s figure stays as it was.")
    if before is None:
        said = _("The library had no figure and now has {after}.")
        return said.format(after=plus_minus(after))  # type: ignore[arg-type]
    if after is None:
        said = _("The library’s figure was {before}; now it has none.")
        return said.format(before=plus_minus(before))
    if outcome.move is None:
        said = _("The library’s figure was {before} and is now {after}.")
    elif outcome.move.beyond_doubt:
        said = _(
            "The library’s figure was {before} and is now {after}, a change beyond its doubt."
        )
    else:
        said = _(
            "The library’s figure was {before} and is now {after}, a change within its doubt."
        )
    return said.format(before=plus_minus(before), after=plus_minus(after))


def _say_verdicts(request: HttpRequest, outcome: measuring.Outcome) -> None:
    """Which platforms' best configurations changed verdict; of a part only that its answers will."""
    if not outcome.changed:
        return
    if outcome.measurement.part_id is not None:
        messages.info(
            request,
            _(
                "Every answer that uses this part is computed with the new figure from now on."
            ),
        )
        _say_setups(request, outcome.setups)
        return
    for change in outcome.verdicts:
        said = _("On the {platform}, the best configuration was “{before}” and is now “{after}”.")
        before, after = _word(change.before), _word(change.after)
        messages.warning(request, said.format(platform=change.platform, before=before, after=after))
    if not outcome.verdicts:
        messages.info(request, _("On no platform does the best configuration change its verdict."))
    _say_setups(request, outcome.setups)


def _say_setups(request: HttpRequest, rechecked: Rechecked | None) -> None:
    """Which posted setups the new figure turned, and how many wait to be computed anew."""
    if rechecked is None:
        return
    for setup, verdict, turn in rechecked.changed[:_NAMED]:
        if not turn.changed:
            said = _("The setup {setup} was “{was}” and is now “{now}”.")
        elif verdict == setup.verdict:
            said = _("The setup {setup} was {before} and is now {after}.")
        else:
            said = _(
                "The setup {setup} was “{was}” and is now “{now}”, and was {before} and is now "
                "{after}."
            )
        link = format_html('<a href="{}">{}</a>', setup.get_absolute_url(), setup.name)
        verdicts = {"was": verdict_word(verdict), "now": verdict_word(setup.verdict)}
        messages.warning(
            request,
            format_html(said, setup=link, before=_(turn.before), after=_(turn.after), **verdicts),
        )
    if (more := len(rechecked.changed) - _NAMED) > 0:
        said = ngettext(
            "{number} more setup changed with it.",
            "{number} more setups changed with it.",
            more,
        )
        messages.warning(request, said.format(number=more))
    if rechecked.left:
        said = ngettext(
            "{number} more posted setup hangs on this figure and waits to be computed anew.",
            "{number} more posted setups hang on this figure and wait to be computed anew.",
            rechecked.left,
        )
        messages.info(request, said.format(number=rechecked.left))


def say_turn(request: HttpRequest, turn: Turn) -> None:
    """What a reading, or the withdrawal of one, made of the setup whose car it is of."""
    if not turn.changed:
        return
    if turn.after == Setup.State.DISPUTED:
        messages.warning(
            request, _("With this the setup is disputed: a steward finds out who is right.")
        )
    elif turn.after == Setup.State.VERIFIED:
        messages.success(request, _("With this the setup is verified."))
    else:
        said = _("With this the setup is no longer {state}.")
        messages.info(request, said.format(state=_(turn.before)))


def _word(verdict: Verdict | None) -> str:
    return _("no configuration") if verdict is None else verdict_word(verdict)
