"""The color of a fluid in numbers: a photo's color as CIE Lab, and how far two colors are apart to the eye.

Color alone condemns no fluid; it shows a change against the fresh fluid and against last time.
"""

from math import isfinite

from coloraide import Color

Lab = tuple[float, float, float]

# A conversion may miss black or white by a hair.
_ROUNDING = 1e-6


def lab_from_srgb(rgb: tuple[int, int, int]) -> Lab:
    """Return CIE L*, a*, b* (D65 white, 2° observer) of an 8-bit sRGB color (IEC 61966-2-1)."""
    channels = [_channel(channel) for channel in _triple(rgb, "RGB")]
    lightness, a, b = Color("srgb", channels).convert("lab-d65").coords(nans=False)
    return lightness, a, b


def delta_e(lab1: Lab, lab2: Lab) -> float:
    """Return the CIEDE2000 difference of two CIE Lab colors (CIE 142-2001, kL = kC = kH = 1)."""
    return _color(lab1, "First color").delta_e(_color(lab2, "Second color"), method="2000")


def _triple(values: object, name: str) -> tuple[object, object, object]:
    if not isinstance(values, (tuple, list)) or len(values) != 3:
        raise ValueError(f"{name} must be three numbers, not {values!r}.")
    first, second, third = values
    return first, second, third


def _channel(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 255:
        raise ValueError(f"RGB must have whole numbers from 0 to 255, not {value!r}.")
    return value / 255


def _color(lab: Lab, name: str) -> Color:
    lightness, a, b = (_coordinate(value, name) for value in _triple(lab, name))
    if not -_ROUNDING <= lightness <= 100 + _ROUNDING:
        raise ValueError(f"{name} must have a lightness from 0 to 100, not {lightness}.")
    return Color("lab-d65", [lightness, a, b])


def _coordinate(value: object, name: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not isfinite(value):
        raise ValueError(f"{name} must have finite numbers, not {value!r}.")
    return float(value)
