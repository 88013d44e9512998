"""Can every ink of the screens be read on its ground, on light and on dark?"""

from __future__ import annotations

import itertools

import pytest
from streamlit import config

from siteapp import look


def luminance(ink: str) -> float:
    """Relative luminance after WCAG 2.1."""
    parts = [int(ink[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_on_white_is_the_printed_one() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("theme", [0, 1], ids=["light", "dark"])
def test_every_ink_stands_out_from_every_ground(theme: int) -> None:
    inks = {"text": look.INKS, "faint": look.FAINT, "accent": look.ACCENTS, "link": look.LINKS}
    grounds = {"page": look.GROUNDS, "sheet": look.SHEETS, "side": look.SIDES}
    for (ink, a), (ground, b) in itertools.product(inks.items(), grounds.items()):
        assert contrast(a[theme], b[theme]) >= 4.5, f"{ink} on {ground}"


def test_words_on_a_full_button_stand_out() -> None:
    assert contrast("#ffffff", look.ACCENTS[0]) >= 4.5
    assert contrast(look.GROUNDS[1], look.ACCENTS[1]) >= 4.5


def test_the_installed_toolkit_knows_every_option_of_the_theme() -> None:
    known = set(config.get_config_options())
    assert set(look.make_theme(known)) <= known
    assert set(look.make_theme(())) <= known
