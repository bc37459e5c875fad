"""What members write in a cell, and what it means.

Every reader takes the cell's text and gives a value, or raises CellError, whose text says what to write
instead. An empty cell, a dash or "n/a" says that the value is not known: ``is_unknown``.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import lru_cache

from django.utils import timezone

from fitcalc.dimensions import Unit
from fitcalc.said import Said

_UNKNOWN = {
    "",
    "-",
    "--",
    "?",
    "??",
    "n/a",
    "n.a.",
    "n/k",
    "na",
    "nil",
    "none",
    "null",
    "unknown",
    "not known",
    "tbc",
}
_DASHES = str.maketrans(dict.fromkeys("‐‑‒–—―−﹣－", "-"))
_PLUS_MINUS = re.compile(r"±|\+\s*/\s*-|\+-")
_FIGURE = re.compile(r"(?P<sign>[+-]?)\s*(?P<digits>\d[\d.,'’ ]*|[.,]\d+)\s*(?P<unit>\D*)")
_CURRENCIES = {"eur": "€", "gbp": "£", "usd": "$"}

_TO_MM = {"cm": Decimal(10), "m": Decimal(1000), "in": Decimal("25.4"), '"': Decimal("25.4")}
_TO_GRAM = {"kg": Decimal(1000), "oz": Decimal("28.349523125"), "lb": Decimal("453.59237")}
_SPELT = {
    "inch": "in",
    "inches": "in",
    "”": '"',
    "″": '"',
    "''": '"',
    "millimetre": "mm",
    "millimetres": "mm",
    "gram": "g",
    "grams": "g",
    "gr": "g",
    "deg": "°",
    "degree": "°",
    "degrees": "°",
    "º": "°",
    "kv": "rpm/v",
    "rpm": "rpm/v",
    "rpm/v": "rpm/v",
    "n/mm": "n/mm",
}
"""Other ways to write a unit. An inch is 25.4 mm, an ounce 28.349523125 g, a pound 453.59237 g, all exact by
the international yard and pound agreement of 1959."""


LONGEST_FIGURE = 60
"""Characters of a figure with its unit: a longer one is no measurement, and costs time to take apart."""


class CellError(ValueError):
    """A cell that cannot be read; the text, a ``Said``, says what to write instead."""


@dataclass(frozen=True, slots=True)
class Style:
    """How the file writes numbers: ``decimal_comma`` if 2,5 is two and a half."""

    decimal_comma: bool = False


def plain(text: str) -> str:
    """``text`` in one line: compatible letters unified, dashes made hyphens, spaces single."""
    # What is long is met once; kept, it would only hold memory.
    return _plain(text) if len(text) <= 100 else _plain.__wrapped__(text)


@lru_cache(maxsize=20_000)
def _plain(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).translate(_DASHES).split())


def marked(text: str, several_lines: bool = False) -> str:
    """``text`` as a cell that gives it back letter by letter: behind an apostrophe where it needs one.

    It does where a spreadsheet program would take it for a formula (it begins with = + - @ or a tab), where a
    reader would take it for a value that is not known, and where it would be tidied (spaces at its ends or
    doubled, a line end in a column of one line).
    """
    return f"'{text}" if _needs_mark(text, several_lines) else text


def unmarked(text: str, several_lines: bool = False) -> tuple[str, bool]:
    """What ``marked`` was given, and whether there was a mark: then the text is meant letter by letter.

    An apostrophe that is no mark stays, as in ’t or '78.
    """
    if text.startswith("'") and _needs_mark(text[1:], several_lines):
        return text[1:], True
    return text, False


def _needs_mark(text: str, several_lines: bool) -> bool:
    if text.startswith("'"):
        return _needs_mark(text[1:], several_lines)
    tidied = text.strip() if several_lines else " ".join(text.split())
    return bool(text) and (text[0] in "=+-@\t\r" or text != tidied or is_unknown(text))


def is_unknown(text: str) -> bool:
    """True for a cell that says nothing, or says that nothing is known."""
    return plain(text).casefold() in _UNKNOWN


def conversion(text: str, unit: Unit) -> Decimal | None:
    """What a figure in the unit that ``text`` names is to be multiplied by; ``None`` if that is ``unit``.

    Raises CellError for a unit that has nothing to do with it.
    """
    named = plain(text).casefold().rstrip(".")
    named = _SPELT.get(named, named)
    if not named or named == unit.value.casefold():
        return None
    factors = {Unit.MM: _TO_MM, Unit.GRAM: _TO_GRAM}.get(unit, {})
    if named in factors:
        return factors[named]
    if unit.value:
        why = Said(
            "“{cell}” is not a unit of this column: write the figure in {unit}.",
            cell=short(text),
            unit=unit.value,
        )
    else:
        why = Said(
            "“{cell}” is not a unit of this column: write the figure a plain number.", cell=short(text)
        )
    raise CellError(why)


def number(text: str, style: Style, unit: Unit = Unit.NONE) -> tuple[Decimal, Decimal | None]:
    """The number in ``text``, and the tolerance behind a ± in the same cell.

    ``98``, ``98 mm``, ``2,5``, ``−1.0``, ``98 ± 0.1``. Raises CellError.
    """
    value, *tolerances = _PLUS_MINUS.split(plain(text))
    if len(tolerances) > 1:
        raise CellError(
            Said("“{cell}” has more than one ±: write the figure and one tolerance.", cell=short(text))
        )
    if not value.strip():
        raise CellError(
            Said(
                "“{cell}” is a tolerance, not a figure: put it in the column for the tolerance.",
                cell=short(text),
            )
        )
    found = _number(value.strip(), style, unit)
    return found, (_number(tolerances[0].strip(), style, unit) if tolerances else None)


def tolerance(text: str, style: Style, unit: Unit = Unit.NONE) -> Decimal:
    """A tolerance or an uncertainty, with or without a ± before it. Raises CellError."""
    found = _number(_PLUS_MINUS.sub("", plain(text)).strip(), style, unit)
    if found < 0:
        raise CellError(Said("A doubt cannot be negative: write it without a sign."))
    return found


def money(text: str, style: Style, currency: str) -> Decimal:
    """A price in the club's ``currency``, its sign before or behind it or left out. Raises CellError."""
    cell = plain(text)
    for code, sign in _CURRENCIES.items():
        cell = re.sub(rf"\b{code}\b", sign, cell, flags=re.IGNORECASE)
    signs = set(re.findall(r"[€£$¥]|" + re.escape(currency), cell))
    if signs - {currency}:
        raise CellError(Said("Prices are in {currency}: write the amount in {currency}.", currency=currency))
    return _number(cell.replace(currency, " ").strip(), style, Unit.NONE)


def _number(text: str, style: Style, unit: Unit) -> Decimal:
    if len(text) > LONGEST_FIGURE:
        raise CellError(
            Said("“{cell}” is not a number: it is too long for one. Write figures only.", cell=short(text))
        )
    if text.startswith(("=", "@")):
        raise CellError(
            Said(
                "“{cell}” is a formula: copy the cells and paste them as values before you save the CSV.",
                cell=short(text),
            )
        )
    if text.startswith("#"):
        raise CellError(
            Said("“{cell}” is a spreadsheet's error: correct the cell, or leave it empty.", cell=short(text))
        )
    found = _FIGURE.fullmatch(text)
    if found is None:
        raise CellError(
            Said(
                "“{cell}” is not a number: write figures only, such as {example}.",
                cell=short(text),
                example=_example(style),
            )
        )
    digits = _decimal(found["digits"].strip(), style)
    value = -digits if found["sign"] == "-" else digits
    factor = conversion(found["unit"], unit)
    if factor is not None:
        wanted = f"{(value * factor).normalize():f}"
        raise CellError(
            Said(
                "“{cell}” is not in {unit}: write {wanted}.",
                cell=short(text),
                unit=unit.value,
                wanted=wanted,
            )
        )
    return value


def _decimal(digits: str, style: Style) -> Decimal:
    """The digits with their separators understood. Raises CellError where they can mean two things."""
    bare = re.sub(r"(?<=\d)['’ ](?=\d{3}(\D|$))", "", digits)
    if re.fullmatch(r"\d+", bare):
        return Decimal(bare)
    point, comma = bare.count("."), bare.count(",")
    if point and comma:
        mark = max(".,", key=bare.rfind)
        grouping = "," if mark == "." else "."
        if bare.count(mark) == 1 and re.fullmatch(rf"\d{{1,3}}(\{grouping}\d{{3}})+\{mark}\d+", bare):
            return Decimal(bare.replace(grouping, "").replace(mark, "."))
    elif point + comma == 1 and re.fullmatch(r"\d*[.,]\d+|\d+[.,]", bare):
        mark = "." if point else ","
        usual = "," if style.decimal_comma else "."
        if mark != usual and re.fullmatch(r"\d{1,3}[.,]\d{3}", bare):
            whole, decimal = bare.replace(mark, ""), bare.replace(mark, usual)
            raise CellError(
                Said(
                    "“{cell}” can mean {whole} or {decimal}: write it as the one that you mean.",
                    cell=digits,
                    whole=whole,
                    decimal=decimal,
                )
            )
        return Decimal(bare.replace(",", ".").rstrip("."))
    raise CellError(
        Said(
            "“{cell}” is not a number: write it plainly, such as {example}.",
            cell=short(digits),
            example=_example(style),
        )
    )


def _example(style: Style) -> str:
    return "98,5" if style.decimal_comma else "98.5"


def has_decimal_comma(text: str) -> bool:
    """True for a figure that can only be read with a decimal comma, such as ``2,5``."""
    return re.match(r"[+-]?\s*(±\s*)?\d{1,6},\d{1,2}(?!\d)", plain(text)) is not None


def whole(text: str, style: Style) -> int:
    """A count. Raises CellError."""
    value, _ = number(text, style)
    if value != value.to_integral_value() or abs(value) > 10**6:
        raise CellError(Said("“{cell}” is not a count: write a whole number.", cell=short(text)))
    return int(value)


def scale(text: str) -> int:
    """The N of 1:N, written 1:28, 1/28 or 28; a spreadsheet may have made a time of it. Raises CellError."""
    found = re.fullmatch(r"(?:0?1\s*[:/]\s*)?(\d{1,3})(?::00)?", plain(text))
    if found is None:
        raise CellError(
            Said(
                "“{cell}” is not a scale: write 28 for 1:28. "
                "(A spreadsheet program may have made a date of it: set the column to text.)",
                cell=short(text),
            )
        )
    return int(found.group(1))


_YES = {"yes", "y", "true", "t", "1", "x", "✓", "✔"}
_NO = {"no", "n", "false", "f", "0", "✗", "✘"}


def yes_or_no(text: str) -> bool:
    """Raises CellError."""
    word = plain(text).casefold()
    if word in _YES or word in _NO:
        return word in _YES
    raise CellError(
        Said("“{cell}” is neither: write yes or no, or leave it empty if nobody has tried.", cell=short(text))
    )


def choice(text: str, choices: Mapping[str, str]) -> str:
    """The value of ``choices`` (by value or label, case and underscores regardless). Raises CellError."""
    word = _word(text)
    for value, label in choices.items():
        if word in (_word(value), _word(label), _word(label) + "s"):
            return value
    raise CellError(
        Said(
            "“{cell}” is none of these: {choices}. Write one of them.",
            cell=short(text),
            choices=", ".join(choices.values()),  # as the file has them, in any language
        )
    )


def _word(text: str) -> str:
    return re.sub(r"[\s_\-]+", " ", plain(text).casefold()).strip()


def line_of(text: str) -> str:
    """Text of one line. A formula stays the text that it is. Raises CellError for what cannot be printed."""
    return " ".join(text_of(text).split())


def text_of(text: str) -> str:
    """Text that may have several lines. Raises CellError for what cannot be printed."""
    if any(unicodedata.category(letter) in ("Cc", "Cs") and letter not in "\n\t" for letter in text):
        raise CellError(Said("It holds a character that cannot be printed: type the cell again."))
    return text.strip()


def exactly(text: str) -> str:
    """Text as it is, with plain line ends. Raises CellError for what cannot be printed."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    text_of(text)
    return text


def day(text: str) -> date:
    """A day, written 2026-05-31. Raises CellError."""
    try:
        return date.fromisoformat(plain(text))
    except ValueError:
        raise CellError(Said("“{cell}” is not a day: write it as 2026-05-31.", cell=short(text))) from None


def moment(text: str) -> datetime:
    """A time, written 2026-05-31 14:05 or 2026-05-31T14:05:00Z; in the club's time zone if it names none.

    Raises CellError.
    """
    try:
        found = datetime.fromisoformat(plain(text))
        return timezone.make_aware(found) if found.tzinfo is None else found.astimezone(UTC)
    except (ValueError, OverflowError):
        raise CellError(
            Said("“{cell}” is not a time: write it as 2026-05-31 14:05.", cell=short(text))
        ) from None


def several(text: str) -> list[str]:
    """Names in one cell, parted by bars, semicolons or line ends."""
    return [name for part in re.split(r"[|;\n]", text) if (name := " ".join(part.split()))]


def short(text: str) -> str:
    """``text`` cut for a message."""
    text = " ".join(text.split())
    return text if len(text) <= 40 else f"{text[:40]}…"
