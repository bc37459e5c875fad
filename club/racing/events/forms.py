"""What is typed about events and entries."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.models import Entry, Event, RaceClass, RulebookEdition
from club.racing.events.entry_list import entry_from

MOST_CLASSES = 200


class EventForm(forms.ModelForm):
    """An event, the classes that it races, and the edition that a director pinned for each."""

    class Meta:
        model = Event
        fields = ["name", "date", "venue", "is_public", "note"]
        labels = {
            "name": gettext_lazy("Name"),
            "date": gettext_lazy("Date"),
            "venue": gettext_lazy("Venue"),
            "is_public": gettext_lazy("Members see it"),
            "note": gettext_lazy("Notes for those who come"),
        }
        help_texts = {
            "date": gettext_lazy("The edition of each class's rulebook that holds on this day is used."),
            "is_public": gettext_lazy("Not ticked: only race directors and those who are entered see it."),
        }
        widgets = {
            "date": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "note": forms.Textarea(attrs={"rows": 3}),
        }
        error_messages = {
            "name": {"required": gettext_lazy("Give the event a name.")},
            "date": {
                "required": gettext_lazy("Say on which day it is."),
                "invalid": gettext_lazy("Write the day as year-month-day, such as 2027-03-14."),
            },
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.race_classes = list(RaceClass.objects.order_by("name")[:MOST_CLASSES])
        published = RulebookEdition.objects.published().order_by("-valid_from")
        editions: dict[int, list[RulebookEdition]] = {}
        for edition in published.filter(race_class__in=self.race_classes):
            editions.setdefault(edition.race_class_id, []).append(edition)
        raced = {}
        if self.instance.pk:
            raced = {row.race_class_id: row.pinned_id for row in self.instance.raced.all()}
        for one in self.race_classes:
            choices = [
                (
                    edition.pk,
                    _("{edition}, from {day}").format(
                        edition=edition.name, day=date_format(edition.valid_from, _("j M Y"))
                    ),
                )
                for edition in editions.get(one.pk, [])
            ]
            self.fields[f"race_{one.pk}"] = forms.BooleanField(
                label=one.name, required=False, initial=one.pk in raced
            )
            self.fields[f"pin_{one.pk}"] = forms.TypedChoiceField(
                label=_("Rulebook for {name}").format(name=one.name),
                choices=[("", _("the edition that holds on the day")), *choices],
                coerce=int,
                empty_value=None,
                required=False,
                initial=raced.get(one.pk),
                error_messages={"invalid_choice": _("Choose a published edition of this class.")},
            )

    @property
    def class_rows(self) -> list[tuple[Any, Any]]:
        """Each class's tick and its edition, as bound fields."""
        return [(self[f"race_{one.pk}"], self[f"pin_{one.pk}"]) for one in self.race_classes]

    @property
    def plain_fields(self) -> list[Any]:
        return [self[name] for name in self.Meta.fields]

    def clean_date(self) -> date:
        on: date = self.cleaned_data["date"]
        if not 1950 <= on.year <= 2200:
            raise forms.ValidationError(_("Check the year."))
        return on

    def raced(self) -> dict[RaceClass, RulebookEdition | None]:
        """The chosen classes with their pinned editions."""
        chosen = [one for one in self.race_classes if self.cleaned_data.get(f"race_{one.pk}")]
        pinned = RulebookEdition.objects.in_bulk(
            [key for one in chosen if (key := self.cleaned_data.get(f"pin_{one.pk}"))]
        )
        return {one: pinned.get(self.cleaned_data.get(f"pin_{one.pk}")) for one in chosen}


class EntryForm(forms.Form):
    """One car of an entry list, read by the same rules as a row of a file."""

    number = forms.CharField(
        label=gettext_lazy("Race number"),
        max_length=6,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    race_class = forms.ChoiceField(
        label=gettext_lazy("Class"),
        required=False,
        error_messages={"invalid_choice": gettext_lazy("Choose a class that the event races.")},
    )
    driver = forms.CharField(
        label=gettext_lazy("Driver"),
        max_length=200,
        required=False,
        help_text=gettext_lazy("Empty where a member is named: their own name is used."),
    )
    member = forms.CharField(
        label=gettext_lazy("Member's username"),
        max_length=150,
        required=False,
        help_text=gettext_lazy("Lets the driver see the car's own sheet."),
    )
    setup = forms.CharField(
        label=gettext_lazy("Number of the setup"),
        max_length=20,
        required=False,
        help_text=gettext_lazy("The last figure in its address. What it says today is what is entered."),
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    body = forms.CharField(
        label=gettext_lazy("Body"),
        max_length=200,
        required=False,
        help_text=gettext_lazy("Only where there is no setup."),
    )
    platform = forms.CharField(
        label=gettext_lazy("Platform"),
        max_length=200,
        required=False,
        help_text=gettext_lazy("Only where there is no setup."),
        widget=forms.TextInput(attrs={"list": "platform-names"}),
    )
    why = forms.CharField(
        label=gettext_lazy("Why it is changed"),
        max_length=300,
        required=False,
        help_text=gettext_lazy("Kept with the entry, with your name and the time."),
    )

    def __init__(self, *args: Any, event: Event, entry: Entry | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.event, self.entry = event, entry
        choices = [(one.name, one.name) for one in event.classes.order_by("name")]
        if len(choices) != 1:
            choices.insert(0, ("", _("choose")))
        self.fields["race_class"].choices = choices
        if entry is None:
            del self.fields["why"]

    @staticmethod
    def initial_of(entry: Entry) -> dict[str, Any]:
        """What the form opens with for an entry."""
        return {
            "number": str(entry.number),
            "race_class": entry.race_class.name,
            "driver": entry.driver,
            "member": "" if entry.member is None else entry.member.username,
            "setup": "" if entry.revision is None else str(entry.revision.setup_id),
            "body": "" if entry.body is None else entry.body.slug,
            "platform": "" if entry.platform is None else entry.platform.slug,
        }

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if self.errors:
            return given
        cells = {name: given.get(name, "") for name in ("number", "driver", "member", "setup", "body")}
        cells |= {"class": given.get("race_class", ""), "platform": given.get("platform", "")}
        self.made, problems = entry_from(self.event, cells, self.entry)
        for problem in problems:
            field = "race_class" if problem.column == "class" else problem.column
            self.add_error(field if field in self.fields else None, problem.message)
        if self._setup_stays():
            self.made.revision = self.entry.revision
        if self.entry is not None and not given.get("why", "").strip() and self.has_changed():
            self.add_error("why", _("Say why it is changed: the reason is kept with the entry."))
        return given

    def _setup_stays(self) -> bool:
        """True if the setup was not touched: the revision that was entered stays, though there is a newer."""
        if self.entry is None or self.entry.revision is None or self.made.revision is None:
            return False
        return bool(self.made.revision.setup_id == self.entry.revision.setup_id)

    def fields_of_entry(self) -> dict[str, Any]:
        """What was typed, as fields of an entry."""
        names = ("number", "race_class", "driver", "member", "revision", "body", "platform")
        return {name: getattr(self.made, name) for name in names}
