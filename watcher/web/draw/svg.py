"""SVG elements as escaped text."""

from collections.abc import Iterable

from markupsafe import Markup

Value = str | float | int | None


def el(tag: str, *inside: Markup | str, **attributes: Value) -> Markup:
    """Return an element; ``stroke_width`` becomes stroke-width, ``class_`` class, None is left out.

    Text inside is escaped unless it is markup already.
    """
    told = Markup("").join(
        Markup(' {}="{}"').format(name.rstrip("_").replace("_", "-"), _number(value))
        for name, value in attributes.items()
        if value is not None
    )
    return Markup("<{0}{1}>{2}</{0}>").format(tag, told, Markup("").join(inside))


def path(points: Iterable[tuple[float, float]], *, closed: bool = False) -> str:
    """Return path data through points, to a tenth of a unit."""
    said = "L".join(f"{_number(x)} {_number(y)}" for x, y in points)
    return f"M{said}{'Z' if closed else ''}" if said else ""


def _number(value: Value) -> str:
    return f"{value:.1f}".removesuffix(".0") if isinstance(value, float) else str(value)
