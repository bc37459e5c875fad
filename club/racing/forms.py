"""What a race director types: classes, editions and clauses."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.models import Clause
from club.models.racing import MOST_FACTOR, QUANTITY_CHOICES, RULE_CHOICES, THING_CHOICES
from fitcalc.legality import BODY, CLASS_QUANTITIES, DecisionRule, LegalityError, Limit
from setups.models import Body, Part
from setups.translated import tell

_DATE = {
    "required": gettext_lazy("Say from which day it holds."),
    "invalid": gettext_lazy("Choose a day, or type it as 2027-03-01."),
}


class ClassForm(forms.Form):
    name = forms.CharField(
        label=gettext_lazy("Name"),
        max_length=80,
        error_messages={
            "required": gettext_lazy("Give the class a name."),
            "max_length": gettext_lazy("A name has up to 80 characters."),
        },
    )
    description = forms.CharField(
        label=gettext_lazy("Description"),
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("Who it is for, in a sentence or two."),
    )


class EditionForm(forms.Form):
    name = forms.CharField(
        label=gettext_lazy("Name of the edition"),
        max_length=60,
        help_text=gettext_lazy("For example: winter series."),
        error_messages={
            "required": gettext_lazy("Give the edition a name."),
            "max_length": gettext_lazy("A name has up to 60 characters."),
        },
    )
    valid_from = forms.DateField(
        label=gettext_lazy("Holds from"),
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages=_DATE,
    )
    note = forms.CharField(
        label=gettext_lazy("Note"),
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("Why there is a new edition, or what else members should know."),
    )


class ClauseForm(forms.Form):
    """What every clause has: its number and its wording."""

    number = forms.CharField(
        label=gettext_lazy("Number"),
        max_length=20,
        help_text=gettext_lazy("As the rulebook counts: 3.2"),
        error_messages={
            "required": gettext_lazy("Give the clause a number, such as 3.2."),
            "max_length": gettext_lazy("A number has up to 20 characters."),
        },
    )
    wording = forms.CharField(
        label=gettext_lazy("Wording"),
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("The sentence that holds. What stands below must say the same."),
        error_messages={
            "required": gettext_lazy("Write the sentence that members read."),
            "max_length": gettext_lazy("A clause has up to 1,000 characters: split it in two."),
        },
    )
    kind = Clause.Kind.LIMIT

    def clause(self, clause: Clause) -> Clause:
        """``clause`` with what is typed; the form must be valid."""
        clause.kind = self.kind
        for name, value in self.cleaned_data.items():
            if name != "find":
                setattr(clause, name, value)
        return clause


class LimitForm(ClauseForm):
    quantity = forms.ChoiceField(
        choices=[("", gettext_lazy("Choose")), *QUANTITY_CHOICES],
        label=gettext_lazy("What is limited"),
        error_messages={
            "required": gettext_lazy("Choose what is limited."),
            "invalid_choice": gettext_lazy("Choose from the list."),
        },
    )
    low = forms.DecimalField(
        required=False, max_digits=9, decimal_places=3, label=gettext_lazy("At least"), localize=False
    )
    high = forms.DecimalField(
        required=False, max_digits=9, decimal_places=3, label=gettext_lazy("At most"), localize=False
    )
    rule = forms.ChoiceField(
        choices=RULE_CHOICES,
        label=gettext_lazy("Near the limit"),
        initial=DecisionRule.SIMPLE.value,
        widget=forms.RadioSelect,
        error_messages={
            "required": gettext_lazy("Choose what happens near the limit."),
            "invalid_choice": gettext_lazy("Choose one of the three."),
        },
    )
    factor = forms.DecimalField(
        min_value=0,
        max_value=MOST_FACTOR,
        max_digits=4,
        decimal_places=2,
        initial=1,
        label=gettext_lazy("Guard band, times the expanded doubt"),
        help_text=gettext_lazy("1 is usual. The first choice above does without."),
        error_messages={"required": gettext_lazy("1 is usual.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("low", "high", "factor"):
            self.fields[name].widget.attrs |= {"inputmode": "decimal", "step": "any"}
            self.fields[name].error_messages |= {
                "invalid": _("Type a number, such as 74 or 8.4."),
                "max_decimal_places": _("Three figures after the point are enough."),
                "max_digits": _("That is more than a car can measure."),
                "max_whole_digits": _("That is more than a car can measure."),
            }
        self.fields["factor"].error_messages |= {
            "max_decimal_places": _("Two figures after the point are enough."),
            "min_value": _("Zero is no guard band; less there is not."),
            "max_value": _("{most_factor} is the most.").format(most_factor=MOST_FACTOR),
        }

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        kind = CLASS_QUANTITIES.get(given.get("quantity") or "")
        if kind is None or self.errors.keys() & {"low", "high", "factor"}:
            return given
        for name in ("low", "high"):
            figure = given.get(name)
            if figure is not None and not kind.low <= figure <= kind.high:
                most = f"{kind.high:g} {kind.unit.value}".rstrip()
                self.add_error(
                    name,
                    _(
                        "{quantity} lies between {least:g} and {most}: check the unit and the decimal point."
                    ).format(quantity=_(kind.label), least=kind.low, most=most),
                )
        if not self.errors.keys() & {"low", "high"}:
            low, high = (None if given[name] is None else float(given[name]) for name in ("low", "high"))
            try:
                Limit(id=None, quantity=kind.key, low=low, high=high, factor=float(given["factor"]))
            except LegalityError as error:
                self.add_error("low", capfirst(tell(error)) + ".")
        return given


class ThingsForm(ClauseForm):
    """A list or a required thing: of what kind, and which. What is searched for comes with ``find``."""

    thing = forms.ChoiceField(
        choices=[("", gettext_lazy("Choose")), *THING_CHOICES], label=gettext_lazy("Of which kind")
    )
    find = forms.CharField(required=False, max_length=100, label=gettext_lazy("Search the library"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["thing"].error_messages |= {
            "required": _("Choose a kind of part, or bodies."),
            "invalid_choice": _("Choose from the list."),
        }


class ListForm(ThingsForm):
    kind = Clause.Kind.LIST
    allows = forms.TypedChoiceField(
        choices=[
            ("yes", gettext_lazy("only what is listed may be on the car")),
            ("no", gettext_lazy("nothing that is listed may be")),
        ],
        coerce=lambda text: text == "yes",
        initial="yes",
        label=gettext_lazy("The list"),
        widget=forms.RadioSelect,
        error_messages={
            "required": gettext_lazy("Choose what the list does."),
            "invalid_choice": gettext_lazy("Choose one of the two."),
        },
    )
    field_order = ("number", "wording", "allows", "thing", "find")


class RequiredForm(ThingsForm):
    kind = Clause.Kind.REQUIRED

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        thing = self.fields["thing"]
        thing.required = False
        thing.choices = [("", _("Something that an inspector looks at")), *THING_CHOICES]


FORMS: dict[str, type[ClauseForm]] = {form.kind.value: form for form in (LimitForm, ListForm, RequiredForm)}


def initial_of(clause: Clause) -> dict[str, Any]:
    """What the form of a clause opens with."""
    names = ("number", "wording", "quantity", "low", "high", "rule", "factor", "thing")
    plain = {name: getattr(clause, name) for name in names}
    for name in ("low", "high", "factor"):
        plain[name] = None if plain[name] is None else f"{float(plain[name]):g}"
    return plain | {"allows": "yes" if clause.allows else "no"}


FOUND = 24
"""A search for what a clause names shows so many."""


def found_things(thing: str, text: str) -> list[Part | Body]:
    """What the library holds of a kind by the words of ``text``; one query, of a few more than are shown."""
    if thing == BODY:
        return list(Body.objects.matching(text).select_related("maker")[: FOUND + 1])
    return list(Part.objects.filter(kind=thing).matching(text).select_related("maker")[: FOUND + 1])


def chosen_things(thing: str, keys: list[str]) -> list[Part | Body]:
    """The rows that the ticked ``keys`` name; what is no key, or is gone, is left out."""
    numbers = {int(key) for key in keys if key.isascii() and key.isdigit() and len(key) < 19}
    if not thing or not numbers:
        return []
    model = Body if thing == BODY else Part
    return list(model.objects.filter(pk__in=numbers).select_related("maker").order_by("name", "pk"))
