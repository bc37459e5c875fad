"""Events, entries and inspections as JSON, and what is sent to write them."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from club.api.racing_filters import VERDICTS
from club.api.racing_rulings import CheckedEditionSerializer, CountsSerializer, RulingSerializer
from club.api.racing_written import LIMIT
from club.models import Entry, EntryChange, Event, Inspection
from club.models.events import MOST_NUMBER, MOST_RUNS
from fitcalc.dimensions import DimensionKind, Unit
from fitcalc.instruments import Instrument
from setups.api.geometry import LONGEST_NAME, Number, Strict, Text, Truth, Whole
from setups.api.reports import choices
from setups.api.serializers import Address
from setups.api.written import MemberSerializer

RACE_DAYS = "Race days"
STAGES = Inspection.Stage.choices
INSTRUMENTS = choices(Instrument)
GIVEN_VERDICTS = [one for one in VERDICTS if one[0] != "not_checked"]
DOUBT = DimensionKind("doubt", "The doubt", Unit.NONE, 0, 1000, "Standard uncertainty of one reading.")
_SLUG = {"max_length": LONGEST_NAME + 20}


class RacedSerializer(serializers.Serializer):
    """A class raced: ``pinned`` is the number of the edition that a director chose, ``edition`` of the one
    that holds there; null where none does."""

    race_class = serializers.CharField(help_text="Slug of the class.")
    pinned = serializers.IntegerField(allow_null=True)
    edition = serializers.IntegerField(allow_null=True)


class EventSerializer(serializers.ModelSerializer):
    """A day on which the club races, and the classes that it races."""

    url = Address("api-event-detail")
    classes = serializers.SerializerMethodField()
    entries = Address("api-entry-list")

    class Meta:
        model = Event
        fields = ["url", "slug", "name", "date", "venue", "note", "is_public", "classes", "entries"]
        read_only_fields = fields

    @extend_schema_field(RacedSerializer(many=True))
    def get_classes(self, event: Event) -> list[dict[str, Any]]:
        return [
            {"race_class": one.race_class.slug, "pinned": one.pinned_id, "edition": one.edition_key}
            for one in event.raced.all()
        ]


class EntrySerializer(serializers.ModelSerializer):
    """A car on an entry list: a setup's revision, or as much as is known of it."""

    url = serializers.SerializerMethodField()
    number = serializers.IntegerField(source="pk", read_only=True)
    race_number = serializers.IntegerField(source="number", read_only=True)
    race_class = serializers.SlugRelatedField("slug", read_only=True)
    member = MemberSerializer(read_only=True, allow_null=True)
    setup = serializers.SerializerMethodField()
    revision = serializers.SerializerMethodField()
    body = serializers.SerializerMethodField()
    platform = serializers.SerializerMethodField()
    checked_in_by = MemberSerializer(read_only=True, allow_null=True)

    class Meta:
        model = Entry
        fields = [
            "url",
            "number",
            "race_number",
            "race_class",
            "driver",
            "member",
            "setup",
            "revision",
            "body",
            "platform",
            "checked_in_at",
            "checked_in_by",
            "withdrawn",
        ]
        read_only_fields = fields

    @extend_schema_field({"type": "string", "format": "uri-reference"})
    def get_url(self, entry: Entry) -> str:
        return entry_address(entry)

    def get_setup(self, entry: Entry) -> int | None:
        return None if entry.revision is None else entry.revision.setup_id

    def get_revision(self, entry: Entry) -> int | None:
        return None if entry.revision is None else entry.revision.number

    def get_body(self, entry: Entry) -> str | None:
        body = entry.car_body
        return None if body is None else body.slug

    def get_platform(self, entry: Entry) -> str | None:
        platform = entry.car_platform
        return None if platform is None else platform.slug


def entry_address(entry: Entry) -> str:
    return reverse("api-entry-detail", args=[entry.event.slug, entry.pk])


class ChangeOfWordsSerializer(serializers.Serializer):
    """What was changed, in words."""

    what = serializers.CharField()
    before = serializers.CharField(allow_blank=True)
    after = serializers.CharField(allow_blank=True)


class EntryChangeSerializer(serializers.ModelSerializer):
    """One line of an entry's log."""

    by = MemberSerializer(read_only=True)
    changes = serializers.SerializerMethodField()

    class Meta:
        model = EntryChange
        fields = ["at", "by", "why", "changes"]
        read_only_fields = fields

    @extend_schema_field(ChangeOfWordsSerializer(many=True))
    def get_changes(self, line: EntryChange) -> list[dict[str, str]]:
        return [{"what": what, "before": before, "after": after} for what, before, after in line.changes]


class InspectionSerializer(serializers.ModelSerializer):
    """What an inspector found under one clause; it never changes.

    ``value`` is the mean of ``readings`` with its standard uncertainty ``u``, in the unit of the clause’s
    quantity, ``doubt`` that of one reading; ``seen`` is what eyes told. ``verdict`` and ``passes`` are those
    of the day. ``corrects`` is the number of the record that was a mistake.
    """

    number = serializers.IntegerField(source="pk", read_only=True)
    entry = serializers.IntegerField(source="entry_id", read_only=True)
    race_number = serializers.IntegerField(source="entry.number", read_only=True)
    clause = serializers.IntegerField(source="clause_id", read_only=True)
    clause_number = serializers.CharField(source="clause.number", read_only=True)
    quantity = serializers.SerializerMethodField()
    verdict = serializers.ChoiceField(GIVEN_VERDICTS)
    by = MemberSerializer(read_only=True)
    corrects = serializers.IntegerField(source="corrects_id", read_only=True, allow_null=True)
    readings = serializers.ListField(child=serializers.CharField(), read_only=True)
    instrument = serializers.SerializerMethodField()

    class Meta:
        model = Inspection
        fields = [
            "number",
            "key",
            "entry",
            "race_number",
            "clause",
            "clause_number",
            "quantity",
            "stage",
            "run",
            "value",
            "u",
            "readings",
            "instrument",
            "doubt",
            "seen",
            "computed",
            "computed_u",
            "verdict",
            "passes",
            "probability",
            "note",
            "by",
            "taken_at",
            "at",
            "corrects",
            "reason",
        ]
        read_only_fields = fields

    def get_fields(self) -> dict[str, Any]:
        figures = ("value", "u", "doubt", "computed", "computed_u")
        plain = {name: serializers.FloatField(read_only=True, allow_null=True) for name in figures}
        return super().get_fields() | plain

    def get_quantity(self, one: Inspection) -> str | None:
        return one.clause.quantity or None

    @extend_schema_field({"type": ["string", "null"], "description": "What it was measured with."})
    def get_instrument(self, one: Inspection) -> str | None:
        return one.instrument or None


class StandingEntrySerializer(serializers.Serializer):
    """The car that stands so."""

    number = serializers.IntegerField()
    race_number = serializers.IntegerField()
    driver = serializers.CharField()
    url = serializers.CharField()


class OpenClauseSerializer(serializers.Serializer):
    """A clause that a car does not plainly comply with."""

    clause = serializers.IntegerField()
    number = serializers.CharField()
    verdict = serializers.ChoiceField(VERDICTS)
    passes = serializers.BooleanField(allow_null=True)


class StandingSerializer(serializers.Serializer):
    """One car under the rulebook of its class: as computed, and as inspected where it was."""

    entry = StandingEntrySerializer()
    verdict = serializers.ChoiceField(VERDICTS)
    passes = serializers.BooleanField(allow_null=True)
    counts = CountsSerializer()
    problems = OpenClauseSerializer(many=True)

    class Meta:
        ref_name = "EntryStanding"


class ClassListSerializer(serializers.Serializer):
    """The cars of one class, problems first; ``edition`` is null where none holds."""

    race_class = serializers.CharField(help_text="Slug of the class.")
    edition = CheckedEditionSerializer(allow_null=True)
    counts = CountsSerializer()
    standings = StandingSerializer(many=True)


class EntryCheckSerializer(serializers.Serializer):
    """One car, clause by clause; ``edition`` is null where none holds."""

    edition = CheckedEditionSerializer(allow_null=True)
    verdict = serializers.ChoiceField(VERDICTS)
    passes = serializers.BooleanField(allow_null=True)
    counts = CountsSerializer()
    rulings = RulingSerializer(many=True)


# What is sent


class RacedInput(Strict):
    """A class to be raced, and the number of a published edition where another than that of the day holds."""

    race_class = Text(max_length=80, help_text="Slug of the class.")
    pinned = Whole(min_value=1, max_value=2**63 - 1, required=False, allow_null=True, default=None)


class EventInput(Strict):
    """All that is said of an event."""

    name = Text(max_length=120)
    date = serializers.DateField()
    venue = Text(max_length=120, required=False, allow_blank=True, default="")
    note = Text(max_length=2000, required=False, allow_blank=True, default="")
    is_public = Truth(default=True)
    classes = serializers.ListField(child=RacedInput(), required=False, default=list, max_length=200)


class EntryInput(Strict):
    """All that is said of a car: a ``setup`` brings body and platform, and is entered as it is today."""

    race_number = Whole(min_value=1, max_value=MOST_NUMBER, required=False, help_text="The next without it.")
    race_class = Text(max_length=80, required=False, help_text="Slug; not needed where there is only one.")
    driver = Text(
        max_length=80,
        required=False,
        allow_blank=True,
        default="",
        help_text="Not needed where a member is named.",
    )
    member = Text(max_length=150, required=False, allow_null=True, help_text="Username.")
    setup = Whole(min_value=1, max_value=2**63 - 1, required=False, allow_null=True)
    body = Text(**_SLUG, required=False, allow_null=True, help_text="Slug, where there is no setup.")
    platform = Text(**_SLUG, required=False, allow_null=True, help_text="Slug, where there is no setup.")


class EntryChangeInput(EntryInput):
    """All that is said of a car, and why it is changed: the reason is kept. The same setup stays as it was
    entered."""

    race_number = Whole(min_value=1, max_value=MOST_NUMBER)
    why = Text(max_length=300, required=False, allow_blank=True, default="")


class HereInput(Strict):
    """Whether the car is here."""

    here = Truth(default=True)


class WithdrawInput(Strict):
    """Off the list, or on it again, and why: the reason is kept."""

    out = Truth(default=True)
    why = Text(max_length=280)


class InspectionInput(Strict):
    """What was found under one clause: ``reading`` of a limit, ``seen`` of anything else.

    ``key`` is made where it was typed: the same key again stores nothing. A reading with the instrument of
    the one before it is averaged with that; one that ``corrects`` a record stands in place of it.
    """

    key = serializers.UUIDField()
    entry = Whole(min_value=1, max_value=2**63 - 1, help_text="Number of the entry.")
    clause = Whole(min_value=1, max_value=2**63 - 1, help_text="Id of the clause.")
    stage = serializers.ChoiceField(STAGES)
    run = Whole(min_value=1, max_value=MOST_RUNS, default=1)
    reading = Number(LIMIT, required=False, allow_null=True)
    instrument = serializers.ChoiceField(INSTRUMENTS, required=False, allow_null=True)
    doubt = Number(DOUBT, required=False, allow_null=True)
    seen = Truth(required=False, allow_null=True)
    note = Text(max_length=300, required=False, allow_blank=True, default="")
    taken_at = serializers.DateTimeField(required=False, allow_null=True, help_text="Now without it.")
    corrects = Whole(
        min_value=1,
        max_value=2**63 - 1,
        required=False,
        allow_null=True,
        help_text="Number of the record that was a mistake: the last of its clause, stage and run.",
    )
    reason = Text(max_length=300, required=False, allow_blank=True, default="")


