"""The columns of setups, a row a revision, and of measurements."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from fitcalc.dimensions import BODY_DIMENSIONS, CAR_DIMENSIONS, PART_DIMENSIONS
from fitcalc.said import Said, said
from fitcalc.tuning import LONGEST_WORDS, TUNING, TuningField
from setups.imports import cells, fields
from setups.imports.cells import CellError, Style
from setups.imports.columns import Column, Kind
from setups.imports.fields import choosing, line_of_text, naming, of_field
from setups.imports.record_kinds import BODY, PART, PLATFORM, POSITION, SLOTS, slot_columns
from setups.models import Decision, Dispute, Measurement, Revision


def _number_of(text: str, style: Style) -> int:
    value = cells.whole(text, style)
    if value < 1:
        raise CellError(Said("It must be 1 or more."))
    return value


def _lap(text: str, style: Style) -> Decimal:
    """Seconds, or minutes:seconds."""
    minutes, colon, seconds = cells.plain(text).rpartition(":")
    value, _ = cells.number(seconds, style)
    if colon:
        value += 60 * cells.whole(minutes, style)
    if not 0 < value < 10_000:
        raise CellError(Said("It must be more than 0 and less than 10,000 seconds."))
    return value


def _setting(field: TuningField) -> Column:
    if field.in_words:
        return line_of_text(
            field.key,
            field.meaning,
            Said("text of up to {most} characters", most=LONGEST_WORDS),
            label=field.label,
        )
    assert field.low is not None
    assert field.high is not None
    low, high = fields.plainly(field.low), fields.plainly(field.high)
    takes = fields.between(low, high, field.unit)
    read = fields.plain_number(field.unit, field.low, field.high)
    return Column(field.key, field.label, field.meaning, takes, read, unit=field.unit)


def _quantities(*catalogues: dict[str, Any]) -> list[tuple[str, str]]:
    return list({kind.key: (kind.key, kind.label) for one in catalogues for kind in one.values()}.values())


SETUPS = Kind(
    "setups",
    "setup",
    Revision,
    (
        line_of_text(
            "setup", said("Tells which rows are revisions of one setup: its number, or any mark of your own.")
        ),
        Column(
            "revision",
            "Revision",
            said("Which revision of the setup the row is: 1, 2, 3."),
            said("number, whole"),
            _number_of,
        ),
        line_of_text("author", said("Who posted it; you, if it is left out."), said("a member's username")),
        of_field(Revision, "posted_at", said("When it was posted; now if it is left out."), restores=True),
        Column(
            "withdrawn",
            "Withdrawn",
            said("Whether the setup is withdrawn."),
            said("yes or no"),
            lambda text, _: cells.yes_or_no(text),
            restores=True,
        ),
        line_of_text(
            "started_from",
            said("The revision that it was taken up from."),
            said("setup/revision, such as 12/1"),
            restores=True,
        ),
        of_field(Revision, "name", said("What the setup is called."), required=True, says_unknown=False),
        of_field(Revision, "what_changed", said("What changed since the revision before.")),
        naming("body", BODY, said("The body."), required=True),
        naming("platform", PLATFORM, said("The platform."), required=True),
        naming("position", POSITION, said("The mounting position."), required=True),
        *slot_columns(),
        naming("race_class", said("race class, by name or address"), said("The class that it is run in.")),
        of_field(Revision, "surface", said("What it was run on.")),
        of_field(Revision, "circuit", said("Where it was run.")),
        of_field(Revision, "best_lap", said("Best lap, in seconds."), fields.number_in("s"), _lap),
        of_field(Revision, "result", said("What came of it.")),
        of_field(Revision, "notes", said("Anything else.")),
        *map(_setting, TUNING.values()),
    ),
    {
        "setup": "a",
        "revision": "1",
        "name": "Example for carpet",
        "body": "Sandpiper Saloon",
        "platform": "example-chassis",
        "position": "middle",
        "front_wheel": "Example Wheels / EW-1",
        "surface": "carpet",
        "best_lap": "8.412",
        "front_camber": "-1.5",
    },
    refers={"body": "body", "platform": "platform", "position": "position", "race_class": "race_class"}
    | dict.fromkeys(SLOTS, "part"),
    own=True,
    row="revision",
    most_rows=1000,
)
MEASUREMENTS = Kind(
    "measurements",
    "measurement",
    Measurement,
    (
        naming("body", BODY, said("The body that was measured.")),
        naming("part", PART, said("The part that was measured, if it was a part.")),
        Column(
            "setup",
            "Setup",
            said("The number of the setup whose car was measured, if it was a car."),
            said("number, whole"),
            _number_of,
        ),
        Column(
            "revision",
            "Revision",
            said("Which revision of the setup; the current one if it is left out."),
            said("number, whole"),
            _number_of,
        ),
        choosing(
            "quantity",
            said("What was measured."),
            _quantities(BODY_DIMENSIONS, PART_DIMENSIONS, CAR_DIMENSIONS),
            required=True,
            aliases=("dimension",),
        ),
        Column(
            "value",
            "Value",
            said("What was read, in the quantity's unit."),
            "number",
            fields.reading,
            required=True,
        ),
        of_field(
            Measurement,
            "uncertainty",
            said("Its doubt, one standard deviation; what the instrument leaves if it is left out."),
            "number",
            lambda text, style: cells.tolerance(text, style),
            aliases=("doubt",),
        ),
        of_field(Measurement, "instrument", said("What it was measured with."), required=True),
        line_of_text("member", said("Who measured; you, if it is left out."), said("a member's username")),
        of_field(
            Measurement, "measured_on", said("The day; today if it is left out."), aliases=("date", "day")
        ),
        of_field(Measurement, "note", said("Anything else.")),
        of_field(Measurement, "withdrawn", said("Whether its member has withdrawn it."), restores=True),
        of_field(Measurement, "set_aside", said("Whether a steward has set it aside."), restores=True),
        of_field(
            Measurement, "added", said("When it came into the library; now if it is left out."), restores=True
        ),
    ),
    {"body": "Sandpiper Saloon", "quantity": "wheelbase", "value": "94.42", "instrument": "calliper"},
    refers={"body": "body", "part": "part"},
    own=True,
    most_rows=2000,
)
_SETUP = Column(
    "setup", "Setup", "The number of the setup.", said("number, whole"), _number_of, required=True
)
_REVISION = Column(
    "revision", "Revision", "Which revision it was about.", said("number, whole"), _number_of, required=True
)
DISPUTES = Kind(
    "disputes",
    "dispute",
    Dispute,
    (
        _SETUP,
        _REVISION,
        of_field(Dispute, "opened_at", "When it began.", required=True),
        choosing(
            "quantity", "What the measurement against it is of.", _quantities(CAR_DIMENSIONS), required=True
        ),
        line_of_text("measured_by", "Whose measurement that is.", said("a member's username"), required=True),
        Column("value", "Value", "What it reads.", "number", fields.reading, required=True),
        of_field(Measurement, "measured_on", "The day of the measurement.", required=True),
        of_field(Dispute, "outcome", "How it was settled; empty while it is open."),
        of_field(Dispute, "reason", "Why it was settled so."),
        line_of_text("settled_by", "Who settled it.", said("a member's username")),
        of_field(Dispute, "settled_at", "When it was settled."),
    ),
    whole=True,
)
RECORD = Kind(
    "record",
    "line of record",
    Decision,
    (
        _SETUP,
        _REVISION,
        of_field(Decision, "at", "When it happened.", required=True),
        of_field(Decision, "action", "What happened.", required=True),
        line_of_text("member", "Who did it; empty: by the rules.", said("a member's username")),
        of_field(Decision, "reason", said("Why."), required=True, says_unknown=False),
    ),
    whole=True,
)
POSTED = (SETUPS, MEASUREMENTS)
PASTS = (DISPUTES, RECORD)
assert not {field.key for field in TUNING.values()} & {"setup", "revision", *SLOTS}
