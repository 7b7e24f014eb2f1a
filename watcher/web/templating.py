"""Templates and static files: found in the package, named by their content, escaped always."""

import hashlib
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from watcher.alerts.wording.sources import quantity_names
from watcher.alerts.wording.words import CAUTION, name, span
from watcher.web.tongue import Tongue

STATIC = Path(__file__).parent / "static"
_MARK = 10


@lru_cache(maxsize=32)
def static_url(file: str) -> str:
    """Return the address of a static file, which changes with its content."""
    digest = hashlib.sha256((STATIC / file).read_bytes()).hexdigest()[:_MARK]
    return f"/static/{file}?v={digest}"


class Paper:
    """Makes pages of templates, in the language of whoever reads them."""

    def page(self, template: str, tongue: Tongue, **told: Any) -> str:
        """Return a page. Everything told is escaped unless it was made as markup here."""
        return _environment(tongue).get_template(template).render(lang=tongue.code, **told)


@cache
def _environment(tongue: Tongue) -> Environment:
    environment = Environment(
        loader=PackageLoader("watcher.web"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
        extensions=["jinja2.ext.i18n"],
    )
    environment.policies["ext.i18n.trimmed"] = True
    environment.install_gettext_translations(  # type: ignore[attr-defined]
        tongue.translations, newstyle=True
    )
    environment.globals.update(static=static_url, caution=CAUTION)
    environment.filters.update(name=name, span=span, quantities=quantity_names)
    return environment
