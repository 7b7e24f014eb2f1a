"""Finds the texts in the program's source, for Babel: the literals of ``say`` and ``say_n``."""

import ast
from collections.abc import Iterator
from typing import IO, Any

_TEMPLATES = {"say": 1, "say_n": 2}
"""How many templates each function takes, before all else."""
_Found = tuple[int, str | None, str | tuple[str, ...], list[str]]


class NotALiteralError(ValueError):
    """A template that is made at run time cannot be found, so nobody could translate it."""


def extract(
    fileobj: IO[bytes],
    keywords: Any,  # Babel passes its own, which are gettext's
    comment_tags: Any,
    options: Any,
) -> Iterator[_Found]:
    """Yield every text of a source file as Babel asks for it.

    Raises NotALiteralError for a template that is no literal.
    """
    for node in ast.walk(ast.parse(fileobj.read())):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            wanted = _TEMPLATES.get(node.func.id)
            if wanted is not None:
                yield _found(node, node.func.id, wanted)


def _found(node: ast.Call, function: str, wanted: int) -> _Found:
    texts = [a.value for a in node.args[:wanted] if isinstance(a, ast.Constant)]
    literals = tuple(text for text in texts if isinstance(text, str))
    if len(literals) != wanted:
        raise NotALiteralError(f"line {node.lineno}: {function} takes literals; write them out")
    if wanted == 1:
        return node.lineno, None, literals[0], []
    return node.lineno, "ngettext", literals, []
