"""``watcher passphrase`` and ``watcher login-link``: how people are let in to the pages."""

import time
from typing import Annotated, Literal
from urllib.parse import urlsplit

import typer

from watcher.cli.context import answer, open_settings, out, stop
from watcher.cli.language import in_words
from watcher.i18n.message import say
from watcher.settings import Settings
from watcher.web.auth.login_pages import is_of_one_machine, terminal_qr
from watcher.web.auth.sessions import LINK_S, SessionStore, SessionStoreError
from watcher.web.auth.users import Role, User, hashed

KEYRING = "door.db"
"""Name of the file of open sessions and links in the state folder."""

RoleName = Literal["look", "run", "administer"]
RoleOption = Annotated[
    RoleName,
    typer.Option(help="look, run (jobs as well), or administer (let others in as well)."),
]


def add_to(app: typer.Typer) -> None:
    """Add this module's commands."""
    app.command("passphrase")(passphrase)
    app.command("login-link")(login_link)


def passphrase(
    name: Annotated[str, typer.Argument(help="What the user is called.")],
    role: RoleOption = "run",
) -> None:
    """Ask for a passphrase and print the line of the settings that lets this user in with it."""
    passphrase = typer.prompt(
        in_words(say("Passphrase")), hide_input=True, confirmation_prompt=True, err=True
    )
    out.print(f"WATCHER_USERS__{name}={role}:{hashed(passphrase)}", markup=False)


def login_link(
    name: Annotated[str, typer.Argument(help="What the device or its owner is called.")],
    role: RoleOption = "run",
) -> None:
    """Print a link, and its QR code, that lets one device in, once, within ten minutes."""
    settings = open_settings()
    try:
        sessions = SessionStore(settings.state_dir / KEYRING)
        token = sessions.make_link(User(name, Role[role.upper()]), int(time.time()))
        sessions.close()
    except SessionStoreError as error:
        stop(str(error))
    address = f"{settings.address or own_address(settings)}/login/{token}"
    here_only = is_of_one_machine(urlsplit(address).hostname or "")
    if not here_only:
        out.print(terminal_qr(address), markup=False)
    answer(address)
    answer(say("Good once, for {minutes} minutes.", minutes=LINK_S // 60))
    if here_only:
        answer(_HERE_ONLY)


_HERE_ONLY = say(
    "This link works only on this machine. For a phone set WATCHER_ADDRESS to the address at which "
    "it reaches the pages (https://farm.example, or http:// with this machine's address in your "
    "network and the port, with WATCHER_HOST=0.0.0.0) and make another link."
)


def own_address(settings: Settings) -> str:
    """Return the address of the pages as this machine reaches them."""
    # Who listens on every address is reached at this one too.
    everywhere = {"0.0.0.0": "127.0.0.1", "::": "::1", "": "127.0.0.1"}  # noqa: S104
    host = everywhere.get(settings.host, settings.host)
    return f"http://{f'[{host}]' if ':' in host else host}:{settings.port}"
