"""Templates and static files: found in the package, named by their content, escaped always."""

import hashlib
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from watcher.i18n.language import Language
from watcher.i18n.message import Message, plain_name, render
from watcher.messages.sources import quantity_names
from watcher.messages.words import CAUTION, span

if TYPE_CHECKING:
    from jinja2 import Environment

STATIC = Path(__file__).parent / "static"
_MARK = 10


@lru_cache(maxsize=32)
def static_url(file: str) -> str:
    """Return the address of a static file, which changes with its content."""
    digest = hashlib.sha256((STATIC / file).read_bytes()).hexdigest()[:_MARK]
    return f"/static/{file}?v={digest}"


class Renderer:
    """Makes pages of templates, in the language of whoever reads them."""

    def page(self, template: str, language: Language, **values: Any) -> str:
        """Return a page. Every value is escaped unless it was made as markup here."""
        return _environment(language).get_template(template).render(lang=language.code, **values)


@cache
def _environment(language: Language) -> "Environment":
    # When somebody first looks at a page.
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415

    environment = Environment(
        loader=PackageLoader("watcher.web"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
        extensions=["jinja2.ext.i18n"],
        finalize=lambda value: value.render(language) if isinstance(value, Message) else value,
    )
    environment.policies["ext.i18n.trimmed"] = True
    environment.install_gettext_translations(  # type: ignore[attr-defined]
        language.translations, newstyle=True
    )
    environment.globals.update(static=static_url, caution=CAUTION)
    environment.filters.update(
        name=plain_name,
        span=span,
        quantities=quantity_names,
        # What goes into the gap of a translated sentence is text by then.
        words=lambda text: render(text, language),
    )
    return environment
