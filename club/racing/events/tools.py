"""What an inspector measures with, chosen once: an instrument for each unit, and its doubt where known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.racing.events.inspecting import MOST_DOUBT
from fitcalc.dimensions import DimensionKind, Unit
from fitcalc.instruments import Instrument, instruments_for, least_doubt, standard_doubt
from fitcalc.readings import doubt_of_one
from fitcalc.typed import plain
from setups import typed
from setups.printing import bare, brief, unit_word
from setups.units import typed_in

KEPT = "inspecting_with"
_USUAL = {Unit.MM: Instrument.CALLIPER, Unit.GRAM: Instrument.SCALE}
_MEASURED = {
    Unit.MM: gettext_lazy("lengths"),
    Unit.GRAM: gettext_lazy("masses"),
    Unit.VOLT: gettext_lazy("voltages"),
}


@dataclass(frozen=True, slots=True)
class Tool:
    """The instrument for one unit; ``doubt`` as typed, empty for what the instrument leaves."""

    unit: Unit
    instrument: Instrument
    doubt: Decimal | None = None
    wrong: str = ""
    typed: str = ""

    @property
    def name(self) -> str:
        """Part of a form field's name."""
        return self.unit.name.lower()

    @property
    def shown(self) -> str:
        """The doubt as its field shows it."""
        return typed.shown(self.typed, self.unit)

    @property
    def label(self) -> str:
        return str(_MEASURED.get(self.unit, self.unit.value))

    @property
    def u(self) -> float | None:
        """Standard uncertainty of one reading; ``None`` where nothing is known of it."""
        if self.doubt is None and standard_doubt(self.instrument) is None:
            return None
        return doubt_of_one(self.instrument, self.unit, None if self.doubt is None else float(self.doubt))

    @property
    def choices(self) -> tuple[Instrument, ...]:
        return instruments_for(self.unit)


def tools_for(kinds: Iterable[DimensionKind], session: Mapping[str, Any]) -> dict[Unit, Tool]:
    """The instrument for each unit of ``kinds``, as chosen before, else the usual one."""
    kept = session.get(KEPT, {})
    units = [unit for unit in Unit if unit is not Unit.NONE and unit in {kind.unit for kind in kinds}]
    return {unit: _tool(unit, *kept.get(unit.name, ["", ""])) for unit in units}


def read(tools: Mapping[Unit, Tool], posted: Mapping[str, str]) -> dict[Unit, Tool]:
    """``tools`` with what a form says of them; what cannot be is marked ``wrong`` with what to do."""
    return {
        unit: _tool(
            unit,
            posted.get(f"tool_{tool.name}", tool.instrument.value),
            typed.kept(posted.get(f"doubt_{tool.name}", tool.typed), unit, typed_in(posted)),
        )
        for unit, tool in tools.items()
    }


def keep(tools: Mapping[Unit, Tool], session: Any) -> None:
    """Choose them for the rest of the day."""
    if not any(tool.wrong for tool in tools.values()):
        said = {unit.name: [tool.instrument.value, tool.typed] for unit, tool in tools.items()}
        session[KEPT] = session.get(KEPT, {}) | said


def _tool(unit: Unit, instrument: str, given: str) -> Tool:
    usual = _USUAL.get(unit, Instrument.OTHER)
    known = {one.value: one for one in instruments_for(unit)}
    chosen = known.get(instrument, usual)
    text = plain(given.strip(), unit).replace(",", ".")
    if not text:
        return Tool(unit, chosen)
    wrong = _("Type the doubt of one reading as a number in {unit}, such as {example}.").format(
        unit=unit_word(unit), example=bare(least_doubt(chosen), unit, 3)
    )
    try:
        doubt = Decimal(text)
    except InvalidOperation:
        return Tool(unit, chosen, None, wrong, given)
    least = Decimal(str(round(least_doubt(chosen), 3)))
    if not doubt.is_finite() or not least <= doubt <= MOST_DOUBT:
        wrong = _("The doubt lies between {least} and {most} {unit}: no reading is surer than that.").format(
            least=brief(float(least), unit), most=brief(float(MOST_DOUBT), unit), unit=unit_word(unit)
        )
        return Tool(unit, chosen, None, wrong, given)
    return Tool(unit, chosen, doubt, "", given)
