"""Contrast of the colours, computed; and that templates are given, not set."""

from typing import Any

import plotly.io as pio
import pytest

from dashboard.theme import PALETTES, SCHEMES, css_variables, palette_of, template_of


def luminance(colour: str) -> Any:
    """Relative luminance. Source: W3C, Web Content Accessibility Guidelines 2.2, definition 'relative luminance' (from memory)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> Any:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("ground", ["paper", "sheet", "tint", "over"])
@pytest.mark.parametrize("ink", ["ink", "soft", "link", "found", "left"])
def test_every_ink_reads_on_every_ground(scheme: str, ground: str, ink: str) -> None:
    """4.5 : 1 is level AA for text. Source: Web Content Accessibility Guidelines 2.2, 1.4.3 (from memory)."""
    palette = palette_of(scheme)
    assert contrast(getattr(palette, ink), getattr(palette, ground)) >= 4.5


@pytest.mark.parametrize("scheme", SCHEMES)
def test_every_line_is_seen_on_paper(scheme: str) -> None:
    """3 : 1 is level AA for graphics. Source: Web Content Accessibility Guidelines 2.2, 1.4.11 (from memory)."""
    palette = palette_of(scheme)
    for name in ("found", "left", "before", "strong"):
        assert contrast(getattr(palette, name), palette.paper) >= 3.0


def test_the_palette_is_that_of_okabe_and_ito_darkened_or_brightened_in_its_own_hue() -> None:
    """Hues of M. Okabe and K. Ito (2008), from memory: vermillion #D55E00 / orange #E69F00, blue #0072B2 / sky blue #56B4E9."""
    import colorsys

    def hue(colour: str) -> Any:
        return colorsys.rgb_to_hsv(*(int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)))[0] * 360

    for ours, theirs in (
        ("light.found", "#d55e00"),
        ("dark.found", "#e69f00"),
        ("light.left", "#0072b2"),
        ("dark.left", "#56b4e9"),
    ):
        scheme, name = ours.split(".")
        assert abs(hue(getattr(PALETTES[scheme], name)) - hue(theirs)) < 8


def test_both_schemes_write_the_same_variables() -> None:
    css = css_variables()
    assert css.count("--paper:") == 3
    assert "data-mantine-color-scheme='dark'" in css


def test_no_template_is_set_behind_anybodys_back() -> None:
    before = pio.templates.default
    template_of("dark")
    assert pio.templates.default == before
    assert template_of("light") is template_of("light")
    assert palette_of(None) == palette_of("purple") == PALETTES["light"]
