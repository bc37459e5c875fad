"""What is typed in the garage."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.models import Chassis, Member, OwnedPart
from club.models.garage import MOST_PIECES
from fitcalc.parts import Slot
from setups.forms import ChassisForm
from setups.models import Body, Part

_COUNT = {
    "required": gettext_lazy("Say how many you have."),
    "invalid": gettext_lazy("Type a whole number, such as 2."),
    "min_value": gettext_lazy("Count at least one, or remove the part from your garage."),
    "max_value": format_lazy(
        gettext_lazy("The garage counts up to {most_pieces} of a part."), most_pieces=MOST_PIECES
    ),
}


def _count(**more: Any) -> forms.IntegerField:
    return forms.IntegerField(
        min_value=1,
        max_value=MOST_PIECES,
        error_messages=_COUNT,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        **more,
    )


class AddPartForm(forms.Form):
    """So many pieces more of a part."""

    part = forms.ModelChoiceField(
        Part.objects.all(),
        widget=forms.HiddenInput,
        error_messages={
            "required": gettext_lazy("Choose a part."),
            "invalid_choice": gettext_lazy("The library no longer holds this part: search again."),
        },
    )
    count = _count(label=gettext_lazy("How many"))


class AddBodyForm(forms.Form):
    body = forms.ModelChoiceField(
        Body.objects.all(),
        error_messages={
            "required": gettext_lazy("Choose a body."),
            "invalid_choice": gettext_lazy("The library no longer holds this body: search again."),
        },
    )


class OwnedPartForm(forms.ModelForm):
    """Count and offer of a part; ``fitted`` pieces stand on the member's chassis."""

    count = _count(label=gettext_lazy("How many you have"))

    class Meta:
        model = OwnedPart
        fields = ["count", "offer", "price"]
        labels = {"offer": gettext_lazy("Loose pieces are"), "price": gettext_lazy("Asking price for one")}
        help_texts = {"price": gettext_lazy("Only of what you part with. Empty: nothing is asked.")}
        error_messages = {
            "price": {
                "invalid": gettext_lazy("Type an amount, such as 3.50."),
                "min_value": gettext_lazy("A price is zero or more."),
                "max_decimal_places": gettext_lazy("Two figures after the point are enough."),
                "max_digits": gettext_lazy("That is more than the garage can note."),
                "max_whole_digits": gettext_lazy("That is more than the garage can note."),
            },
            "offer": {"invalid_choice": gettext_lazy("Choose one of the three.")},
        }
        widgets = {"price": forms.NumberInput(attrs={"inputmode": "decimal", "step": "0.01", "min": "0"})}

    def __init__(self, *args: Any, fitted: int = 0, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fitted = fitted

    def clean_count(self) -> int:
        count: int = self.cleaned_data["count"]
        if count < self.fitted:
            raise forms.ValidationError(
                _("{fitted} of them stand on your chassis: count those too, or take them off first.").format(
                    fitted=self.fitted
                )
            )
        return count

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("price") is not None and given.get("offer") != OwnedPart.Offer.PART_WITH:
            self.add_error(
                "price", _("A price is asked only of what you part with: choose that, or leave this empty.")
            )
        return given


class BuildForm(ChassisForm):
    """A chassis as built: its name, its mounting position, and a part for each slot that is not open.

    The front body mount is left out: it belongs to a body and is counted among the parts.
    """

    name = forms.CharField(
        label=gettext_lazy("Name"),
        max_length=80,
        error_messages={
            "required": gettext_lazy("Give the chassis a name, so that you can tell it from your others."),
            "max_length": gettext_lazy("A name has up to 80 characters."),
        },
    )

    def __init__(self, *args: Any, member: Member, chassis: Chassis | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._member, self._chassis = member, chassis
        del self.fields[Slot.BODY_MOUNT.value]
        del self._choices[Slot.BODY_MOUNT]
        position = self.fields[Slot.POSITION.value]
        position.required = True
        position.error_messages["required"] = _("Choose the position that the rear end is set to.")
        self.order_fields(["name"])

    def clean_name(self) -> str:
        name: str = self.cleaned_data["name"]
        others = self._member.chassis.filter(name=name)
        if self._chassis is not None:
            others = others.exclude(pk=self._chassis.pk)
        if others.exists():
            raise forms.ValidationError(_("You have a chassis of this name already: choose another name."))
        return name

    def filled(self) -> dict[str, int]:
        """Slot -> key of the part chosen for it; the position apart."""
        return {
            slot.value: part.id
            for slot, part in self.chosen().items()
            if part is not None and slot is not Slot.POSITION
        }
