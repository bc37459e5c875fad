"""A QR code as SVG, for a sheet of paper: it leads back to the car's page."""

from __future__ import annotations

from dataclasses import dataclass

import segno

QUIET = 4
"""Modules of white round the code, as ISO/IEC 18004 asks (from memory)."""


@dataclass(frozen=True, slots=True)
class Code:
    """The dark modules as one path, in units of a module."""

    path: str
    size: int

    @property
    def view_box(self) -> str:
        return f"0 0 {self.size} {self.size}"


def code_of(address: str) -> Code:
    """The code of ``address``, with a quarter of it to spare for dirt (error level Q, from memory)."""
    matrix = [list(row) for row in segno.make(address, error="q", micro=False).matrix]
    runs = []
    for y, row in enumerate(matrix):
        x = 0
        while x < len(row):
            length = 0
            while x + length < len(row) and row[x + length]:
                length += 1
            if length:
                runs.append(f"M{x + QUIET} {y + QUIET}h{length}v1h-{length}z")
            x += length or 1
    return Code("".join(runs), len(matrix) + 2 * QUIET)
