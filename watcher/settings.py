"""Settings of the process and its secrets, from ``WATCHER_`` variables or a settings file.

What the farm is like is in the farm file; what is secret or belongs to the machine is here. Errors
name variables and never show values.
"""

import difflib
import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import pydantic_settings
from dotenv import dotenv_values
from pydantic import AfterValidator, Field, SecretStr, ValidationError
from pydantic_core import ErrorDetails
from pydantic_settings import BaseSettings, SettingsConfigDict

from watcher.farm import Farm
from watcher.farm.feeds import OpenMeteo
from watcher.farm.stations import MqttStation, PushStation
from watcher.units import Kind, Written

PREFIX = "WATCHER_"
FILE_VARIABLE = "WATCHER_SETTINGS_FILE"
_DEFAULT_FILE = ".env"
_LEAST_TOKEN = 16


class SettingsError(Exception):
    """The settings cannot be used; the text names every variable and its mend, and no value."""


def _variable(field: str) -> str:
    return PREFIX + field.upper()


def _state_home() -> Path:
    # XDG Base Directory Specification.
    home = os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return Path(home) / "field-weather-watch"


def _push_url(secret: SecretStr) -> SecretStr:
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9+.-]*://\S+", secret.get_secret_value()):
        raise ValueError("must be an apprise URL: a scheme, ://, and no spaces")
    return secret


def _heartbeat_url(secret: SecretStr) -> SecretStr:
    if not re.fullmatch(r"https?://\S+", secret.get_secret_value()):
        raise ValueError("must be an http or https address, without spaces")
    return secret


def _token(secret: SecretStr) -> SecretStr:
    if len(secret.get_secret_value()) < _LEAST_TOKEN:
        raise ValueError(f"must have at least {_LEAST_TOKEN} characters, or it can be guessed")
    return secret


def _let_in(secret: SecretStr) -> SecretStr:
    told = secret.get_secret_value()
    if not re.fullmatch(r"(look|run|administer):\$argon2id\$\S+", told):
        raise ValueError('must be a role and a hash, as "watcher passphrase" prints them')
    return secret


def _program(secret: SecretStr) -> SecretStr:
    if not re.fullmatch(rf"(look|run|administer):\S{{{_LEAST_TOKEN},}}", secret.get_secret_value()):
        raise ValueError(
            f"must be look, run or administer, a colon, and a token of at least {_LEAST_TOKEN} "
            "characters"
        )
    return secret


def _web_address(text: str) -> str:
    if not re.fullmatch(r"(https?://[^\s/?#]+)?", text.rstrip("/")):
        raise ValueError("must be http:// or https:// and a host, without a path")
    return text.rstrip("/")


def _contact(text: str) -> str:
    # It goes into a header of every request.
    if not re.fullmatch(r"[!-~]*", text):
        raise ValueError("must be a mail address or web page in plain ASCII without spaces")
    return text


class Settings(BaseSettings):
    """Every setting. The variable of ``push_urls`` is ``WATCHER_PUSH_URLS``, and so on.

    One entry of a table is ``WATCHER_PUSH_URLS__grower=…``; a whole table is a JSON object.
    """

    model_config = SettingsConfigDict(
        alias_generator=_variable,
        populate_by_name=True,
        env_nested_delimiter="__",
        case_sensitive=True,  # the case of recipients' and sources' names counts
        extra="ignore",  # variables of other programs; ours are checked by name
        frozen=True,
        use_attribute_docstrings=True,
        hide_input_in_errors=True,
    )

    farm: Path = Path("config/farm.toml")
    """The farm file."""
    state_dir: Annotated[Path, AfterValidator(lambda path: path.expanduser().absolute())] = Field(
        default_factory=_state_home
    )
    """Folder of what must be remembered; made when it is not there."""
    database_url: str = Field(
        default_factory=lambda told: f"sqlite:///{told['state_dir'] / 'watch.db'}", repr=False
    )
    """Where the log is kept; a SQLite file in the state folder when not set."""
    keep_raw: Annotated[float, Written(Kind.DURATION, 7 * 86_400, 36_500 * 86_400)] = Field(
        default=730 * 86_400.0, validate_default=False
    )
    """How long readings and forecasts are kept whole; ten minutes and hours are kept for good."""
    contact: Annotated[str, AfterValidator(_contact)] = ""
    """Mail address or web page of who runs this: the feeds' terms ask for it."""
    push_urls: dict[str, Annotated[SecretStr, AfterValidator(_push_url)]] = Field(
        default_factory=dict
    )
    """Where each recipient is reached: an apprise URL by recipient."""
    station_tokens: dict[str, Annotated[SecretStr, AfterValidator(_token)]] = Field(
        default_factory=dict
    )
    """The token each station posts with, by source."""
    broker_passwords: dict[str, SecretStr] = Field(default_factory=dict)
    """Password at the broker of a station heard by MQTT, by source."""
    api_keys: dict[str, SecretStr] = Field(default_factory=dict)
    """Key of a paid feed, by source."""
    users: dict[str, Annotated[SecretStr, AfterValidator(_let_in)]] = Field(default_factory=dict)
    """Who may log in: role and hash of the passphrase, by name; "watcher passphrase" makes them."""
    programs: dict[str, Annotated[SecretStr, AfterValidator(_program)]] = Field(
        default_factory=dict
    )
    """Programs that may use the HTTP API: role and token, by name."""
    address: Annotated[str, AfterValidator(_web_address)] = ""
    """Address the pages are reached at from outside, https://farm.example; for links in alerts."""
    heartbeat_url: Annotated[SecretStr, AfterValidator(_heartbeat_url)] | None = None
    """Called every minute while the watch is well, so that somebody notices when it is not."""
    host: str = "127.0.0.1"
    """Address the web port listens on; the default is reached from this machine only."""
    port: int = Field(default=8047, ge=1, le=65_535)
    """Web port."""
    log_level: Literal["debug", "info", "warning", "error"] = "info"
    """Least severe event that is logged."""
    log_format: Literal["text", "json"] = "text"
    """Log lines for people or for machines."""


def read_settings() -> Settings:
    """Read the settings of this process and make its state folder.

    The environment stands before the settings file: the one that ``WATCHER_SETTINGS_FILE`` names,
    or ``.env`` in the working folder. Raises ``SettingsError`` with all that is wrong.
    """
    file = _settings_file()
    wrong = _unknown_variables([*os.environ, *(dotenv_values(file) if file else ())])
    try:
        settings = Settings(_env_file=file)
    except ValidationError as error:
        wrong += [_said(e) for e in error.errors(include_input=False, include_url=False)]
    except pydantic_settings.SettingsError as error:
        wrong.append(_unreadable(str(error)))
    if wrong:
        raise SettingsError("\n".join(wrong))
    _make(settings.state_dir)
    return settings


def _settings_file() -> Path | None:
    named = os.environ.get(FILE_VARIABLE)
    file = Path(named or _DEFAULT_FILE)
    if file.is_file():
        return file
    if named:
        raise SettingsError(f"{FILE_VARIABLE}: there is no file {file}\n    correct the path")
    return None


def _unknown_variables(names: Iterable[str]) -> list[str]:
    tables = tuple(
        f"{_variable(name)}__"
        for name, field in Settings.model_fields.items()
        if field.default_factory is dict
    )
    known = [_variable(name) for name in Settings.model_fields] + [FILE_VARIABLE]
    return [
        f"{name}: there is no such setting\n    {_guess(name, known)}"
        for name in dict.fromkeys(names)
        if name.startswith(PREFIX) and name not in known and not name.startswith(tables)
    ]


def _guess(name: str, known: list[str]) -> str:
    close = difflib.get_close_matches(name, known, n=1)
    return f"did you mean {close[0]}?" if close else f"there are: {', '.join(known)}"


def _said(error: ErrorDetails) -> str:
    name = str(error["loc"][0]).removeprefix(PREFIX).lower()  # the field's or its variable's
    variable = "__".join([_variable(name), *map(str, error["loc"][1:])])
    wrong = error["msg"].removeprefix("Value error, ").replace("Input should be", "must be")
    field = Settings.model_fields[name]
    about = "entries of a table are text" if len(error["loc"]) > 1 else field.description
    return f"{variable}: {wrong}\n    {about or 'correct it'}"


def _unreadable(said: str) -> str:
    # Only the field's name is taken from the text, which may hold part of a value.
    field = re.search(r'field "(\w+)"', said)
    variable = _variable(field[1]) if field else "a setting"
    return (
        f"{variable}: is not a JSON object\n"
        f'    write {variable}={{"name": "value"}}, or {variable}__name=value for each name'
    )


def _make(folder: Path) -> None:
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        wrong = f"{_variable('state_dir')}: {folder} cannot be made ({error.strerror})"
        raise SettingsError(f"{wrong}\n    name a folder this user may write to") from error


@dataclass(frozen=True)
class Found:
    """What does not fit between settings and farm file: errors stop the watch, warnings do not."""

    errors: tuple[str, ...]
    warnings: tuple[str, ...]


def problems(settings: Settings, farm: Farm) -> Found:
    """Compare names in the settings with those of the farm file."""
    return Found(tuple(_errors(settings, farm)), tuple(_warnings(settings, farm)))


def _errors(settings: Settings, farm: Farm) -> Iterator[str]:
    stations, polled = _sources(farm)
    for field, known, what in (
        ("push_urls", list(farm.told.recipients), "recipient"),
        ("station_tokens", stations, "source that posts"),
        ("broker_passwords", list(_users(farm)), "source with a user at a broker"),
        ("api_keys", polled, "source that is asked"),
    ):
        for name in getattr(settings, field):
            if name not in known:
                listed = ", ".join(known) or "none"
                yield f"{_variable(field)}__{name}: no {what} has this name; there are: {listed}"
    if not settings.contact:
        yield f"{_variable('contact')}: is not set; the feeds' terms ask for a mail address"


def _warnings(settings: Settings, farm: Farm) -> Iterator[str]:
    stations, polled = _sources(farm)
    for name in farm.told.recipients:
        if name not in settings.push_urls:
            yield f"recipient {name} hears nothing: set {_variable('push_urls')}__{name}"
    for name in stations:
        if name not in settings.station_tokens:
            yield f"source {name} cannot post: set {_variable('station_tokens')}__{name}"
    for name, station in _users(farm).items():
        if name not in settings.broker_passwords:
            yield f"source {name} has no password: set {_variable('broker_passwords')}__{name}"
        elif not station.tls:
            yield f"source {name} sends its password in the clear: add tls = true"
    for name in polled:
        if isinstance(farm.told.sources[name], OpenMeteo) and name not in settings.api_keys:
            yield f"source {name} is asked without a key, which is for non-commercial use only"
    if settings.host not in {"127.0.0.1", "::1", "localhost"}:
        yield f"{_variable('host')} opens the web port beyond this machine, without encryption"


def _sources(farm: Farm) -> tuple[list[str], list[str]]:
    """Names of the sources that post, and of those that are asked."""
    posting = {n for n, s in farm.told.sources.items() if isinstance(s, PushStation)}
    return sorted(posting), [name for name in farm.told.sources if name not in posting]


def _users(farm: Farm) -> dict[str, MqttStation]:
    """The sources that have a user name at a broker."""
    told = farm.told.sources.items()
    return {name: entry for name, entry in told if isinstance(entry, MqttStation) and entry.user}
