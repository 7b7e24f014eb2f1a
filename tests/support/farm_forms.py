"""Forms over the farm file as a browser without script sends them."""

import re
from html import unescape

import httpx

from tests.support.visiting import Visited

_HIDDEN = re.compile(r'<input type="hidden" name="([^"]+)" value="([^"]*)">')
_INPUT = re.compile(r'<input id="f-[^"]*" name="([^"]+)" value="([^"]*)"')
_CHOSEN = re.compile(
    r'<select id="f-[^"]*" name="([^"]+)"(?:(?!</select>).)*?value="([^"]*)" selected', re.DOTALL
)
_AREA = re.compile(r'<textarea id="f-[^"]*" name="([^"]+)"[^>]*>([^<]*)</textarea>')
_TICKED = re.compile(r'<input type="checkbox" name="([^"]+)" value="([^"]*)" checked')


def filled(page: str) -> dict[str, str]:
    """What a browser would send of a page's form without a change."""
    found = [one for kind in (_HIDDEN, _INPUT, _CHOSEN, _AREA) for one in kind.findall(page)]
    return {name: unescape(value) for name, value in found + _TICKED.findall(page)}


async def look(site: Visited, path: str, without: str = "", **typed: str) -> httpx.Response:
    """Change values of a form and send it; nothing is kept by that."""
    form = filled((await site.web.get(path)).text) | typed
    form.pop(without, None)
    return await site.web.post(path, data=form)


async def keep(site: Visited, looked: httpx.Response, **typed: str) -> httpx.Response:
    """Say yes to what a change would come to."""
    assert "What this would change" in looked.text, looked.text
    return await site.web.post(looked.url, data=filled(looked.text) | typed)
