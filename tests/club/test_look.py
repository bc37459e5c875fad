"""The colours of the sheet can be read, in light and in dark, and nothing asks for an inline style."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.conf import settings

CSS = Path(__file__).resolve().parents[2] / "club/static/club"
TEMPLATES = Path(settings.BASE_DIR) / "templates"


def tokens() -> dict[str, dict[str, str]]:
    """Custom properties that are colours, for each scheme: ``{"light": {"--ink": "#1d2327"}}``."""
    text = (CSS / "site.css").read_text(encoding="utf-8")
    light, dark = text.split("@media (prefers-color-scheme: dark)")[:2]
    dark = dark[: dark.index("/* 2 Ground")]
    pattern = re.compile(r"(--[a-z-]+):\s*(#[0-9a-f]{6})\b")
    first = dict(pattern.findall(light))
    return {"light": first, "dark": first | dict(pattern.findall(dark))}


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2, https://www.w3.org/TR/WCAG22/#dfn-relative-luminance."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2, https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_black_on_white_has_the_contrast_that_the_guideline_states() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    ("text", "grounds"),
    [
        ("--ink", ("--paper", "--sheet", "--problem-wash", "--doubt-wash")),
        ("--ink-soft", ("--paper", "--sheet")),
        ("--press", ("--paper", "--sheet", "--press-wash")),
        ("--press-ink", ("--press",)),
        ("--problem", ("--paper", "--sheet", "--problem-wash")),
        ("--doubt", ("--paper", "--sheet", "--doubt-wash")),
        ("--paper", ("--ink",)),
    ],
)
def test_every_text_colour_can_be_read_on_its_grounds(
    scheme: str, text: str, grounds: tuple[str, ...]
) -> None:
    colours = tokens()[scheme]
    for ground in grounds:
        assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_edges_of_fields_can_be_seen(scheme: str) -> None:
    colours = tokens()[scheme]
    for ground in ("--paper", "--sheet"):
        assert contrast(colours["--line-firm"], colours[ground]) >= 3.0


def test_the_two_schemes_differ_in_every_colour() -> None:
    found = tokens()
    assert len(found["light"]) == 13
    assert all(found["light"][name] != found["dark"][name] for name in found["light"])


def test_no_page_has_an_inline_style_or_script() -> None:
    for template in TEMPLATES.rglob("*.html"):
        text = re.sub(r"\{%.*?%\}", "", template.read_text(encoding="utf-8"), flags=re.DOTALL)
        assert not re.search(r"\sstyle=|<style|\son[a-z]+=|<script(?! src=)", text), template
