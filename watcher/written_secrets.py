"""Keys, tokens and passwords that somebody wrote into a text: found, and taken out.

In web addresses a user with a password and the query parameters that are called as secrets are;
the whole rest of an address of another scheme, as push addresses have, unless that is a host and a
port only; beside them what stands after ``api_key =``, ``token:`` or ``Authorization: Bearer``.
What is a part of a path looks like any other path and is not found.
"""

import re
from collections.abc import Iterator
from urllib.parse import quote, urlsplit

GAP = "{key}"
"""What stands where a secret was, and where a source's own is filled in."""

_NAME = (
    r"(?:(?:[\w.-]{0,40}[_.-])?(?:pass|auth|sig|pwd)|[\w.-]{0,40}(?:key(?:[_.-]?id)?|token|secret"
    r"|password|passwd|passphrase|app[_.-]?id|authorization|signature))"
)
"""What a parameter is called that carries a secret."""
_VALUE = r"(?!\{key\})[^\s\"'<>&;#]+"
_PLAIN = r"(?:https?|s?ftps?|tcp|mqtts?|wss?|file)://"
"""Schemes of addresses that are none themselves."""
_MACHINE = r"(?:[\w-]+\.)+[\w-]+:\d{1,5}(?![^\s\"'<>&;#])"
"""A host and a port and no more, of whatever scheme: where an instrument is, and no secret."""
_FOUND = re.compile(
    rf"""
    {_PLAIN}(?!\{{key\}}@)(?P<user>[^\s"'<>/?\#@]+)@
    | [?&;](?:{_NAME})=(?P<query>{_VALUE})
    | \b(?!{_PLAIN})[A-Za-z][A-Za-z0-9+.-]{{0,30}}://(?!{_MACHINE})(?P<rest>{_VALUE})
    | \b(?:proxy-)?authorization["']?\s*[:=]\s*["']?(?:(?:basic|bearer|digest|token)\s+)?+
      (?P<header>{_VALUE})
    | \b[\w-]{{0,40}}(?:(?:api|access|subscription)[_-]?key|token|secret|password|passwd|passphrase
      |app_?id)["']?\s*[:=]\s*["']?(?P<pair>(?!\{{key\}})[^\s"'<>&;\#,]{{6,}})
    """,
    re.IGNORECASE | re.VERBOSE,
)
_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]{0,30}://[^\s\"'<>]+")
_SIGN = re.compile(r"://|authorization|key|token|secret|pass|app[_-]?id", re.IGNORECASE)
"""Without one of these there is none: boundaries are long, and have none."""
_NAMED = re.compile(_NAME, re.IGNORECASE)


def names_a_secret(parameter: str) -> bool:
    """Whether a query parameter of this name carries a secret."""
    return _NAMED.fullmatch(parameter) is not None


def asks_for_key(address: str) -> bool:
    """Whether the value of a parameter that carries a secret is the gap for it."""
    return any(value == GAP and names_a_secret(name) for name, value in _parameters(address))


def with_key(address: str, key: str | None) -> str:
    """Return an address with a key in its gaps; as it is where there is no key."""
    return address.replace(GAP, quote(key, safe="")) if key and asks_for_key(address) else address


def has_secret(text: str) -> bool:
    """Whether a secret was written into a text."""
    return next(_spans(text), None) is not None


def masked(text: str) -> str:
    """Return a text with every secret in it taken out; what is masked already stays as it is."""
    parts, at = [], 0
    for start, end in _spans(text):
        parts += [text[at:start], GAP]
        at = end
    return "".join([*parts, text[at:]])


def filled_as(text: str, model: str) -> str:
    """Return a masked text with the secrets of ``model`` where the same address stands in it."""
    stand = {masked(address): address for address in _ADDRESS.findall(model)}
    return _ADDRESS.sub(lambda found: stand.get(found[0], found[0]), text)


def without_secrets(text: str) -> str:
    """Return a text with the secrets taken out of the addresses in it, and nothing else."""
    return _ADDRESS.sub(lambda found: masked(found[0]), text)


def _parameters(address: str) -> Iterator[tuple[str, str]]:
    try:
        query = urlsplit(address).query
    except ValueError:
        return
    yield from ((name, value) for name, _, value in (p.partition("=") for p in query.split("&")))


def _spans(text: str) -> Iterator[tuple[int, int]]:
    if _SIGN.search(text) is None:
        return
    for found in _FOUND.finditer(text):
        yield found.span(str(found.lastgroup))
