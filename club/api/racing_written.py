"""Race classes, editions of their rulebooks and clauses as JSON, and what is sent to write them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.urls import reverse
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.serializers import ValidationError

from club.api.garage import refuse
from club.models import Clause, Member, RaceClass, RulebookEdition
from club.models.racing import MOST_FACTOR, QUANTITY_CHOICES, RULE_CHOICES, THING_CHOICES
from club.racing.editions import MOST_ITEMS, today
from club.racing.forms import FORMS
from fitcalc.dimensions import DimensionKind, Unit
from fitcalc.legality import BODY, CLASS_QUANTITIES
from setups.api.geometry import LONGEST_NAME, Number, Strict, Text, Truth, Whole
from setups.api.permissions import READ, allows
from setups.api.problems import Problem, shown
from setups.api.reports import UNITS, rounded
from setups.api.serializers import Address
from setups.api.written import MemberSerializer
from setups.models import Body, Part

RACING = "Racing"
KINDS = Clause.Kind.choices
QUANTITIES, RULES, THINGS = QUANTITY_CHOICES, RULE_CHOICES, THING_CHOICES
STATES = [(name, name) for name in ("draft", "coming", "holds", "past")]
CHANGES = [(name, name) for name in ("added", "removed", "changed", "same")]
LIMIT = DimensionKind("limit", "A limit", Unit.NONE, -100_000, 100_000, "In the unit of the quantity.")
FACTOR = DimensionKind("factor", "The factor of the guard band", Unit.NONE, 0, MOST_FACTOR, "1 is usual.")
_SLUG = LONGEST_NAME + 20
_OF_KIND = {
    Clause.Kind.LIMIT: ("quantity", "low", "high", "rule", "factor"),
    Clause.Kind.LIST: ("thing", "allows", "items"),
    Clause.Kind.REQUIRED: ("thing", "items"),
}
"""What a clause of each kind says besides its number and wording."""


def directs(request: Any) -> bool:
    """True for a race director whose token may at least read."""
    return bool(getattr(request.user, "directs_races", False)) and allows(request, READ)


def demand_director(request: Any) -> Member:
    """Raises a Problem for all but race directors."""
    if not getattr(request.user, "directs_races", False):
        said = "Only race directors do that. Ask one of them, or the club to make you one."
        raise Problem("forbidden", said)
    member: Member = request.user
    return member


def edition_address(edition: RulebookEdition) -> str:
    return reverse("api-edition-detail", args=[edition.race_class.slug, edition.pk])


class RaceClassSerializer(serializers.ModelSerializer):
    """A class; ``holds_today`` is the number of the edition that holds today, null before the first."""

    url = Address("api-race-class-detail")
    holds_today = serializers.IntegerField(source="holding_key", read_only=True, allow_null=True)
    editions = Address("api-edition-list")

    class Meta:
        model = RaceClass
        fields = ["url", "slug", "name", "description", "holds_today", "editions"]
        read_only_fields = fields


class ClauseSerializer(serializers.ModelSerializer):
    """A clause.

    limit: ``quantity`` lies from ``low`` to ``high``, either may be null; ``rule`` and ``factor`` decide near
    the limit. list: of the kind ``thing``, only ``items`` (``allows``) or anything but. required: one of
    ``items``, any ``thing`` where there are none, or what only an inspector sees, where ``thing`` is null.
    What is not of the clause's kind is null.
    """

    quantity = serializers.ChoiceField(QUANTITIES, allow_null=True)
    unit = serializers.ChoiceField(UNITS, allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    rule = serializers.ChoiceField(RULES, allow_null=True)
    factor = serializers.FloatField(allow_null=True)
    thing = serializers.ChoiceField(THINGS, allow_null=True)
    allows = serializers.BooleanField(allow_null=True)
    items = serializers.ListField(child=serializers.CharField(), help_text="Slugs of parts or bodies.")

    class Meta:
        model = Clause
        fields = [
            "id",
            "number",
            "wording",
            "kind",
            "quantity",
            "unit",
            "low",
            "high",
            "rule",
            "factor",
            "thing",
            "allows",
            "items",
        ]
        read_only_fields = fields

    def to_representation(self, row: Clause) -> dict[str, Any]:
        limit = row.kind == Clause.Kind.LIMIT
        return {
            "id": row.pk,
            "number": row.number,
            "wording": row.wording,
            "kind": row.kind,
            "quantity": row.quantity or None,
            "unit": CLASS_QUANTITIES[row.quantity].unit.value if limit else None,
            "low": rounded(row.low),
            "high": rounded(row.high),
            "rule": row.rule if limit else None,
            "factor": rounded(row.factor) if limit else None,
            "thing": row.thing or None,
            "allows": row.allows if row.kind == Clause.Kind.LIST else None,
            "items": sorted(item.thing.slug for item in row.items.all()),
        }


class EditionSerializer(serializers.ModelSerializer):
    """A dated edition of a class's rulebook with its clauses; a published one never changes.

    ``state``: draft (race directors see it), coming, holds (today), past.
    """

    url = serializers.SerializerMethodField()
    number = serializers.IntegerField(source="pk", read_only=True)
    race_class = serializers.SlugRelatedField("slug", read_only=True)
    state = serializers.SerializerMethodField()
    published_by = MemberSerializer(read_only=True, allow_null=True)
    clauses = ClauseSerializer(many=True, read_only=True)

    class Meta:
        model = RulebookEdition
        fields = [
            "url",
            "number",
            "race_class",
            "name",
            "valid_from",
            "note",
            "state",
            "published_at",
            "published_by",
            "clauses",
        ]
        read_only_fields = fields

    @extend_schema_field({"type": "string", "format": "uri-reference"})
    def get_url(self, edition: RulebookEdition) -> str:
        return edition_address(edition)

    @extend_schema_field({"type": "string", "enum": [name for name, _ in STATES]})
    def get_state(self, edition: RulebookEdition) -> str:
        if not edition.is_published:
            return "draft"
        if edition.pk == self.context["holding"]:
            return "holds"
        return "coming" if edition.valid_from > today() else "past"


class ClauseChangeSerializer(serializers.Serializer):
    """One clause in two editions; ``fields`` says what of it differs."""

    what = serializers.ChoiceField(CHANGES)
    fields_changed = serializers.ListField(child=serializers.CharField())
    before = ClauseSerializer(allow_null=True)
    after = ClauseSerializer(allow_null=True)


# What is sent


class RaceClassInput(Strict):
    """A new class."""

    name = Text(max_length=80)
    description = Text(max_length=2000, required=False, allow_blank=True, default="")


class EditionInput(Strict):
    """What an edition says of itself."""

    name = Text(max_length=60)
    valid_from = serializers.DateField(help_text="The first day on which it holds.")
    note = Text(max_length=2000, required=False, allow_blank=True, default="")


class NewEditionInput(EditionInput):
    """A new draft; ``copy`` is the number of an edition of the class whose clauses it begins with."""

    copy = Whole(min_value=1, max_value=2**63 - 1, required=False, allow_null=True)


class ClauseInput(Strict):
    """All that a clause says; what is not of its kind is left out or null."""

    number = Text(max_length=20, help_text="As the rulebook counts: 3.2")
    wording = Text(max_length=1000, help_text="The sentence that holds.")
    kind = serializers.ChoiceField(KINDS)
    quantity = serializers.ChoiceField(QUANTITIES, required=False, allow_null=True)
    low = Number(LIMIT, required=False, allow_null=True)
    high = Number(LIMIT, required=False, allow_null=True)
    rule = serializers.ChoiceField(RULES, required=False, allow_null=True, help_text="simple without it.")
    factor = Number(FACTOR, required=False, allow_null=True)
    thing = serializers.ChoiceField(THINGS, required=False, allow_null=True)
    allows = Truth(required=False, allow_null=True)
    items = serializers.ListField(
        child=Text(max_length=_SLUG),
        required=False,
        allow_null=True,
        max_length=MOST_ITEMS,
        help_text="Slugs of parts of the kind, or of bodies.",
    )

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        takes = _OF_KIND[given["kind"]]
        said = f"A clause of the kind {given['kind']} says nothing of that: leave it out, or null."
        wrong = {
            name: [said]
            for names in _OF_KIND.values()
            for name in names
            if name not in takes and given.get(name) not in (None, [])
        }
        if wrong:
            raise ValidationError(wrong)
        return given


Thing = Part | Body


def things_named(given: Iterable[Mapping[str, Any]]) -> dict[tuple[str, str], Thing]:
    """What several clauses name, by kind and slug; two queries at most."""
    wanted: dict[bool, set[str]] = {True: set(), False: set()}
    for one in given:
        wanted[one.get("thing") == BODY] |= set(one.get("items") or ())
    found: dict[tuple[str, str], Thing] = {}
    if wanted[True]:
        found |= {(BODY, row.slug): row for row in Body.objects.filter(slug__in=wanted[True])}
    if wanted[False]:
        rows = Part.objects.filter(slug__in=wanted[False]).select_related("maker")
        found |= {(row.kind, row.slug): row for row in rows}
    return found


def put(row: Clause, given: Mapping[str, Any], known: Mapping[tuple[str, str], Thing]) -> list[Thing]:
    """``row`` says what is ``given``, by the rules of the page's form; what it names. Raises ValidationError.

    A field that is left out is as in a new clause.
    """
    typed: dict[str, Any] = {"number": given["number"], "wording": given["wording"]}
    for name in ("quantity", "thing"):
        typed[name] = given.get(name) or ""
    for name in ("low", "high"):
        typed[name] = "" if given.get(name) is None else str(given[name])
    typed["rule"] = given.get("rule") or RULES[0][0]
    typed["factor"] = "1" if given.get("factor") is None else str(given["factor"])
    typed["allows"] = "no" if given.get("allows") is False else "yes"
    form = FORMS[given["kind"]](typed)
    refuse(form)
    blank = Clause(edition=row.edition) if row.edition_id else Clause()
    for name in ("quantity", "low", "high", "rule", "factor", "thing", "allows"):
        setattr(row, name, getattr(blank, name))
    form.clause(row)
    errors: dict[int, list[str]] = {}
    named = []
    for place, slug in enumerate(given.get("items") or ()):
        thing = known.get((row.thing, slug))
        if thing is None:
            what = "body" if row.thing == BODY else row.get_thing_display() or "thing of no kind"
            errors[place] = [f"There is no {what} with the slug {shown(slug)}: take it from the library."]
        else:
            named.append(thing)
    if errors:
        raise ValidationError({"items": errors})
    return list(dict.fromkeys(named))


