"""Measured numbers and times as short words."""


def amount(x: float, unit: str) -> str:
    """Spell a measured number to three digits, whole ones in full.

    >>> amount(11.4375, "deg"), amount(1234.56, "mm"), amount(0.00321, "V")
    ('11.4 deg', '1235 mm', '0.00321 V')
    """
    text = f"{x:.0f}" if abs(x) >= 100 else f"{x:.3g}"
    if "e" in text:
        text = f"{x:.2g}"
    return f"{'0' if float(text) == 0 else text} {unit}".strip()


def at(ms: int) -> str:
    """Spell a point in time: ``12.31 s``."""
    return f"{ms / 1000:.2f} s"


def duration(ms: int) -> str:
    """Spell a measured duration: ``5.0 s``, ``340 ms``."""
    return f"{ms / 1000:.1f} s" if ms >= 1000 else f"{ms} ms"
