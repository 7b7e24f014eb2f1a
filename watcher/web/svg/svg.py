"""SVG elements as escaped text."""

from collections.abc import Iterable

from markupsafe import Markup, escape

Value = str | float | int | None


def el(tag: str, *inside: Markup | str, **attributes: Value) -> Markup:
    """Return an element; ``stroke_width`` becomes stroke-width, ``class_`` class, None is left out.

    Text inside is escaped unless it is markup already.
    """
    attributes_text = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(_number(value))}"'
        for name, value in attributes.items()
        if value is not None
    )
    held = "".join(map(escape, inside))
    return Markup(f"<{tag}{attributes_text}>{held}</{tag}>")  # noqa: S704  # every part is escaped


def path(points: Iterable[tuple[float, float]], *, closed: bool = False) -> str:
    """Return path data through points, to a tenth of a unit."""
    said = "L".join(f"{_number(x)} {_number(y)}" for x, y in points)
    return f"M{said}{'Z' if closed else ''}" if said else ""


def _number(value: Value) -> str:
    return f"{value:.1f}".removesuffix(".0") if isinstance(value, float) else str(value)
