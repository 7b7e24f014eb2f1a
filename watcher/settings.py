"""Settings of the process and its secrets, from ``WATCHER_`` variables or a settings file.

What the farm is like is in the farm file; what is secret or belongs to the machine is here. Errors
name variables and never show values.
"""

import difflib
import os
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from ipaddress import IPv4Network, IPv6Network, ip_network
from pathlib import Path
from typing import Annotated, Literal, get_args

import pydantic_settings
from dotenv import dotenv_values
from pydantic import AfterValidator, Field, SecretStr, ValidationError
from pydantic_core import ErrorDetails
from pydantic_settings import BaseSettings, SettingsConfigDict

from watcher.farm import Farm
from watcher.farm.feeds import OpenMeteo, is_filled_in
from watcher.farm.stations import MqttStation, PushStation
from watcher.farm.validation_messages import plain
from watcher.i18n.language import ENGLISH, Language, codes
from watcher.i18n.message import Message, Param, Template, joined, say
from watcher.sources.tile_address import GREATEST, KEY, MapPictures, wrong_template
from watcher.units import Kind, UnbelievableQuantityError, UnreadableQuantityError, Written

PREFIX = "WATCHER_"
FILE_VARIABLE = "WATCHER_SETTINGS_FILE"
_DEFAULT_FILE = ".env"
_LEAST_TOKEN = 16
_MOST_SECRET = 2000


class SettingsError(Exception):
    """The settings cannot be used; the text names every variable and its mend, and no value."""

    def __init__(self, mistakes: Sequence[Message]) -> None:
        self.mistakes = tuple(mistakes)
        super().__init__(self.render(ENGLISH))

    def render(self, language: Language) -> str:
        """Return every mistake, one below the other."""
        return "\n".join(mistake.render(language) for mistake in self.mistakes)


class _RefusedError(ValueError):
    """A value that a setting does not take; ``wrong`` says what it must be."""

    def __init__(self, wrong: Message) -> None:
        super().__init__(str(wrong))
        self.wrong = wrong


def _variable(field: str) -> str:
    return PREFIX + field.upper()


def _state_home() -> Path:
    # XDG Base Directory Specification.
    home = os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return Path(home) / "field-weather-watch"


def _push_url(secret: SecretStr) -> SecretStr:
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9+.-]*://\S+", secret.get_secret_value()):
        raise _RefusedError(say("must be an apprise URL: a scheme, ://, and no spaces"))
    return secret


def _heartbeat_url(secret: SecretStr) -> SecretStr:
    if not re.fullmatch(r"https?://\S+", secret.get_secret_value()):
        raise _RefusedError(say("must be an http or https address, without spaces"))
    return secret


def _token(secret: SecretStr) -> SecretStr:
    if len(secret.get_secret_value()) < _LEAST_TOKEN:
        wrong = say(
            "must have at least {count} characters, or it can be guessed", count=_LEAST_TOKEN
        )
        raise _RefusedError(wrong)
    return secret


def wrong_secret(table: str, text: str) -> Message | None:
    """Return what is wrong with a secret of a table, and how to mend it; None where nothing is.

    Nothing of it is in the text.
    """
    if not text or len(text) > _MOST_SECRET or not text.isprintable():
        return say("must be one line of 1 to {count} characters", count=_MOST_SECRET)
    try:
        if table == "station_tokens":
            if not re.fullmatch(r"[!-~]+", text):
                return say("must be plain letters, digits and signs, without spaces")
            _token(SecretStr(text))
        if table == "push_urls":
            _push_url(SecretStr(text))
            # Half a second to load, which no other table needs.
            from watcher.delivery.channel import why_unusable  # noqa: PLC0415

            return why_unusable(text)
    except _RefusedError as refused:
        return refused.wrong
    return None


def _let_in(secret: SecretStr) -> SecretStr:
    text = secret.get_secret_value()
    if not re.fullmatch(r"(look|run|administer):\$argon2id\$\S+", text):
        wrong = say('must be a role and a hash, as "watcher passphrase" prints them')
        raise _RefusedError(wrong)
    return secret


def end_of_token(day: str) -> int:
    """Return the last second of a day, written 2026-09-30, in UTC. Raises ``ValueError``."""
    if date.fromisoformat(day).isoformat() != day:
        raise ValueError(f"{day} is not written as 2026-09-30 is")
    return int(datetime.fromisoformat(f"{day}T23:59:59+00:00").timestamp())


def _program(secret: SecretStr) -> SecretStr:
    found = re.fullmatch(
        rf"(?:look|run|administer)(?: until ([^\s:]+))?:\S{{{_LEAST_TOKEN},}}",
        secret.get_secret_value(),
    )
    if found is None:
        wrong = say(
            "must be look, run or administer, a colon, and a token of at least {count} characters; "
            'with a last day "run until 2026-09-30:token"',
            count=_LEAST_TOKEN,
        )
        raise _RefusedError(wrong)
    try:
        if found[1]:
            end_of_token(found[1])
    except ValueError:
        raise _RefusedError(say("has no last day that there is: write 2026-09-30")) from None
    return secret


def _web_address(text: str) -> str:
    if not re.fullmatch(r"(https?://[^\s/?#]+)?", text.rstrip("/")):
        raise _RefusedError(say("must be http:// or https:// and a host, without a path"))
    return text.rstrip("/")


def networks(text: str) -> tuple[IPv4Network | IPv6Network, ...]:
    """Return the networks that a list of addresses and networks names."""
    return tuple(ip_network(one.strip()) for one in text.split(","))


def _networks(text: str) -> str:
    try:
        networks(text)
    except ValueError:
        wrong = say("must be addresses or networks, 10.0.0.2,10.1.0.0/16")
        raise _RefusedError(wrong) from None
    return text


_HOST = r"(?:[A-Za-z0-9](?:[A-Za-z0-9-]*[A-Za-z0-9])?\.)+[A-Za-z](?:[A-Za-z0-9-]*[A-Za-z0-9])?"
_CONTACT = re.compile(
    rf"((mailto:)?[!#-'*+\-./0-9=?A-Z^-~]+@({_HOST})|https://({_HOST})(:[0-9]+)?(/[!-~]*)?)?"
)
_NOBODYS = ("localhost", ".localhost", ".local", ".invalid")


def _contact(text: str) -> str:
    # It goes into a header of every request, and to push services, which refuse a push whose
    # contact is none (RFC 8292, 2.1).
    found = _CONTACT.fullmatch(text)
    host = (found[3] or found[4] or "").lower() if found else ""
    if found is None or host.endswith(_NOBODYS):
        wrong = say(
            "is refused by push services: it must be a mail address (me@farm.example) or a page "
            "that begins with https:// and a public host, in plain ASCII"
        )
        raise _RefusedError(wrong)
    return text


def _template(text: str) -> str:
    wrong = wrong_template(text) if text else None
    if wrong is not None:
        raise _RefusedError(wrong)
    return text


def _language(code: str) -> str:
    if code and code not in codes():
        wrong = say("there is no such language; there are: {codes}", codes=", ".join(codes()))
        raise _RefusedError(wrong)
    return code


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
        default_factory=lambda settings: f"sqlite:///{settings['state_dir'] / 'watch.db'}",
        repr=False,
    )
    """Where the log is kept; a SQLite file in the state folder when not set."""
    farm_number: int = Field(default=1, ge=1, le=2_147_483_647)
    """Which farm of the log this is, where several share it; "watcher fleet list" shows them."""
    keep_raw: Annotated[float, Written(Kind.DURATION, 7 * 86_400, 36_500 * 86_400)] = Field(
        default=730 * 86_400.0, validate_default=False
    )
    """How long readings and forecasts are kept whole; ten minutes and hours are kept for good."""
    contact: Annotated[str, AfterValidator(_contact)] = ""
    """Mail address or https page of who runs this: feeds' terms and push services ask for it."""
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
    proxies: Annotated[str, AfterValidator(_networks)] = "127.0.0.0/8,::1"
    """Addresses of the TLS proxy, believed when it says who asks (X-Forwarded-For, -Proto)."""
    heartbeat_url: Annotated[SecretStr, AfterValidator(_heartbeat_url)] | None = None
    """Called every minute while the watch is well, so that somebody notices when it is not."""
    host: str = "127.0.0.1"
    """Address the web port listens on; the default is reached from this machine only."""
    port: int = Field(default=8047, ge=1, le=65_535)
    """Web port."""
    map_tiles: Annotated[str, AfterValidator(_template)] = ""
    """Address of map tiles, XYZ or WMTS in EPSG:3857, with gaps as the README has them."""
    map_attribution: str = ""
    """Who must be named beside the map, as the provider's terms ask."""
    map_greatest_zoom: int = Field(default=19, ge=1, le=GREATEST)
    """Greatest zoom the provider has tiles of."""
    map_key: SecretStr | None = None
    """Key that fills its gap in the address of map tiles."""
    log_level: Literal["debug", "info", "warning", "error"] = "info"
    """Least severe event that is logged."""
    log_format: Literal["text", "json"] = "text"
    """Log lines for people or for machines."""
    language: Annotated[str, AfterValidator(_language)] = ""
    """Language of this command line until a farm file is read; that of LANG when not set."""

    @property
    def pictures(self) -> MapPictures | None:
        """Where pictures of the ground come from; None where none are set, or nobody is named."""
        if not (self.map_tiles and self.map_attribution.strip() and self.contact):
            return None
        named = self.map_attribution.strip()
        return MapPictures(self.map_tiles, named, self.map_greatest_zoom, self.map_key)


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
        wrong += [_mistake(e) for e in error.errors(include_input=False, include_url=False)]
    except pydantic_settings.SettingsError as error:
        wrong.append(_unreadable(str(error)))
    else:
        wrong += _of_map(settings)
    if wrong:
        raise SettingsError(wrong)
    _make(settings.state_dir)
    return settings


def _of_map(settings: Settings) -> Iterator[Message]:
    """What map tiles need besides their address."""
    if settings.map_tiles and not settings.map_attribution.strip():
        wrong = say("is not set; whoever gives the tiles must be named")
        mend = say("write it as the provider's terms ask")
        yield _with_mend(_variable("map_attribution"), wrong, mend)
    if (KEY in settings.map_tiles) != (settings.map_key is not None):
        wrong = say(
            "does not fit the address of map tiles, which has or lacks the gap {key}", key=KEY
        )
        yield _with_mend(_variable("map_key"), wrong, say("set both or neither"))


def _settings_file() -> Path | None:
    named = os.environ.get(FILE_VARIABLE)
    file = Path(named or _DEFAULT_FILE)
    if file.is_file():
        return file
    if named:
        wrong = say("there is no file {file}", file=str(file))
        raise SettingsError([_with_mend(FILE_VARIABLE, wrong, say("correct the path"))])
    return None


def _with_mend(variable: str, wrong: Param, mend: Param) -> Message:
    return joined([joined([variable, wrong], ": "), mend], "\n    ")


def _unknown_variables(names: Iterable[str]) -> list[Message]:
    tables = tuple(
        f"{_variable(name)}__"
        for name, field in Settings.model_fields.items()
        if field.default_factory is dict
    )
    known = [_variable(name) for name in Settings.model_fields] + [FILE_VARIABLE]
    return [
        _with_mend(name, say("there is no such setting"), _guess(name, known))
        for name in dict.fromkeys(names)
        if name.startswith(PREFIX) and name not in known and not name.startswith(tables)
    ]


def _guess(name: str, known: list[str]) -> Message:
    close = difflib.get_close_matches(name, known, n=1)
    if close:
        return say("did you mean {name}?", name=close[0])
    return say("there are: {names}", names=", ".join(known))


def _mistake(error: ErrorDetails) -> Message:
    name = str(error["loc"][0]).removeprefix(PREFIX).lower()  # the field's or its variable's
    variable = "__".join([_variable(name), *map(str, error["loc"][1:])])
    about = Settings.model_fields[name].description
    mend: Message = Template(plain(about)) if about else say("correct it")
    if len(error["loc"]) > 1:
        mend = say("entries of a table are text")
    return _with_mend(variable, _wrong_value(name, error), mend)


def _wrong_value(name: str, error: ErrorDetails) -> Message:
    context = error.get("ctx", {})
    match context.get("error"):
        case _RefusedError() as refused:
            return refused.wrong
        case UnreadableQuantityError() | UnbelievableQuantityError() as unfit:
            return joined([unfit.reason, unfit.mend], "; ")
    wrong = say("cannot be used ({why})", why=error["msg"])
    match error["type"]:
        case "int_parsing":
            wrong = say("must be a valid integer")
        case "less_than_equal":
            wrong = say("must be less than or equal to {most}", most=str(context["le"]))
        case "greater_than_equal":
            wrong = say("must be greater than or equal to {least}", least=str(context["ge"]))
        case "literal_error":
            *others, last = map(repr, get_args(Settings.model_fields[name].annotation))
            choices = say("{first} or {second}", first=", ".join(others), second=last)
            wrong = say("must be {choices}", choices=choices)
        case "string_type":
            wrong = say("is not text")
        case "dict_type":
            wrong = say("is not a table")
    return wrong


def _unreadable(why: str) -> Message:
    # Only the field's name is taken from the text, which may hold part of a value.
    field = re.search(r'field "(\w+)"', why)
    variable = _variable(field[1]) if field else "WATCHER_…"
    mend = say(
        'write {variable}={"name": "value"}, or {variable}__name=value for each name',
        variable=variable,
    )
    return _with_mend(variable, say("is not a JSON object"), mend)


def _make(folder: Path) -> None:
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        wrong = say("{folder} cannot be made ({why})", folder=str(folder), why=str(error.strerror))
        mend = say("name a folder this user may write to")
        raise SettingsError([_with_mend(_variable("state_dir"), wrong, mend)]) from error


@dataclass(frozen=True)
class Found:
    """What does not fit between settings and farm file: errors stop the watch, warnings do not."""

    wrong: tuple[Message, ...]
    """Errors in what is set."""
    unset: tuple[Message, ...]
    """Errors by what is not set yet."""
    warnings: tuple[Message, ...]

    @property
    def errors(self) -> tuple[Message, ...]:
        return self.wrong + self.unset


def problems(
    settings: Settings, farm: Farm, kept: Mapping[str, Collection[str]] | None = None
) -> Found:
    """Compare names in the settings with those of the farm file, and look at the push URLs.

    ``kept`` are the names whose secrets were set on the pages, by table.
    """
    return Found(
        wrong=tuple(_wrong(settings, farm)),
        unset=tuple(_unset(settings)),
        warnings=tuple(_warnings(settings, farm, kept or {})),
    )


def _wrong(settings: Settings, farm: Farm) -> Iterator[Message]:
    stations, polled = _sources(farm)
    for field, known, wrong in (
        ("push_urls", list(farm.config.recipients), say("no recipient has this name")),
        ("station_tokens", stations, say("no source that posts has this name")),
        (
            "broker_passwords",
            list(_users(farm)),
            say("no source with a user at a broker has this name"),
        ),
        ("api_keys", polled, say("no source that is asked has this name")),
    ):
        for name in getattr(settings, field):
            if name not in known:
                there = say("there are none")
                if known:
                    there = say("there are: {names}", names=", ".join(known))
                yield _of(f"{_variable(field)}__{name}", joined([wrong, there], "; "))
    yield from _unusable_urls(settings, farm)


def _unusable_urls(settings: Settings, farm: Farm) -> Iterator[Message]:
    # Every command reads the settings, and only two of them need what this takes half a second for.
    from watcher.delivery.channel import why_unusable  # noqa: PLC0415

    for name, url in settings.push_urls.items():
        if name in farm.config.recipients and (why := why_unusable(url.get_secret_value())):
            yield _of(f"{_variable('push_urls')}__{name}", why)


def _unset(settings: Settings) -> Iterator[Message]:
    if not settings.contact:
        wrong = say("is not set; the feeds' terms ask for a mail address")
        yield _of(_variable("contact"), wrong)


def _warnings(
    settings: Settings, farm: Farm, kept: Mapping[str, Collection[str]]
) -> Iterator[Message]:
    stations, polled = _sources(farm)

    def known(table: str, name: str) -> bool:
        return name in getattr(settings, table) or name in kept.get(table, ())

    for name in farm.config.recipients:
        if not known("push_urls", name):
            variable = f"{_variable('push_urls')}__{name}"
            yield say(
                "recipient {name} hears nothing: set {variable}, or a push address on the page of "
                "the farm",
                name=name,
                variable=variable,
            )
    for name in stations:
        if not known("station_tokens", name):
            variable = f"{_variable('station_tokens')}__{name}"
            yield say(
                "source {name} posts with the token of its first visit alone; for another set "
                "{variable}",
                name=name,
                variable=variable,
            )
    for name, station in _users(farm).items():
        if not known("broker_passwords", name):
            variable = f"{_variable('broker_passwords')}__{name}"
            yield say("source {name} has no password: set {variable}", name=name, variable=variable)
        elif not station.tls:
            yield say("source {name} sends its password in the clear: add tls = true", name=name)
    for name in polled:
        if isinstance(farm.config.sources[name], OpenMeteo) and not known("api_keys", name):
            yield say(
                "source {name} is asked without a key, which is for non-commercial use only",
                name=name,
            )
        if is_filled_in(farm.config.sources[name]) and not known("api_keys", name):
            yield say(
                "source {name} waits for its key: set {variable}, or set it on the page of tokens, "
                "keys and passwords",
                name=name,
                variable=f"{_variable('api_keys')}__{name}",
            )
    if settings.host not in {"127.0.0.1", "::1", "localhost"}:
        yield say(
            "{variable} opens the web port beyond this machine, without encryption",
            variable=_variable("host"),
        )


def _of(variable: str, wrong: Message) -> Message:
    return joined([variable, wrong], ": ")


def _sources(farm: Farm) -> tuple[list[str], list[str]]:
    """Names of the sources that post, and of those that are asked."""
    posting = {n for n, s in farm.config.sources.items() if isinstance(s, PushStation)}
    return sorted(posting), [name for name in farm.config.sources if name not in posting]


def _users(farm: Farm) -> dict[str, MqttStation]:
    """The sources that have a user name at a broker."""
    sources = farm.config.sources.items()
    return {name: entry for name, entry in sources if isinstance(entry, MqttStation) and entry.user}
