"""Forms of what is decided about a setup: withdrawn, put back, a dispute settled. All ask for a reason."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as lazy

from setups.models import Decision, Dispute


class ReasonForm(forms.Form):
    """Why: kept with the setup, for everybody to read."""

    reason = forms.CharField(
        label=lazy("Why"),
        help_text=lazy("Kept in the setup’s record, for everybody to read."),
        max_length=Decision._meta.get_field("reason").max_length,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={
            "required": lazy("Say why: the reason is kept with the setup."),
            "max_length": lazy("Say it in %(limit_value)d letters; you typed %(show_value)d."),
        },
    )


class SettleForm(forms.Form):
    """Who is right in a dispute, and why."""

    outcome = forms.ChoiceField(
        label=lazy("Who is right?"),
        choices=[
            (
                Dispute.Outcome.SET_ASIDE.value,
                lazy(
                    "The setup. The member’s readings of this are set aside and count no more."
                ),
            ),
            (
                Dispute.Outcome.UPHELD.value,
                lazy(
                    "The measurement. The setup stays disputed until it is built otherwise."
                ),
            ),
        ],
        widget=forms.RadioSelect,
        error_messages={
            "required": lazy("Choose who is right: the measurement, or the setup."),
            "invalid_choice": lazy("Choose who is right: the measurement, or the setup."),
        },
    )
    reason = forms.CharField(
        label=lazy("Why"),
        help_text=lazy(
            "How you found out. It is kept in the setup’s record, and both members read it."
        ),
        max_length=900,  # with the outcome in words before it, it goes into a line of the record
        widget=forms.Textarea(attrs={"rows": 4}),
        error_messages={
            "required": lazy("Say why: the reason is kept, and both members read it."),
            "max_length": lazy("Say it in %(limit_value)d letters; you typed %(show_value)d."),
        },
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.widget.is_required = False  # the answer says what is missing, in the page's own words
