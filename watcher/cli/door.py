"""``watcher passphrase`` and ``watcher login-link``: how people are let in to the pages."""

import time
from typing import Annotated, Literal

import typer

from watcher.cli.opening import open_settings, out
from watcher.settings import Settings
from watcher.web.access import Role, User, hashed
from watcher.web.doors import terminal_qr
from watcher.web.keyring import LINK_S, Keyring

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
    told = typer.prompt("Passphrase", hide_input=True, confirmation_prompt=True, err=True)
    out.print(f"WATCHER_USERS__{name}={role}:{hashed(told)}", markup=False)


def login_link(
    name: Annotated[str, typer.Argument(help="What the device or its owner is called.")],
    role: RoleOption = "run",
) -> None:
    """Print a link, and its QR code, that lets one device in, once, within ten minutes."""
    settings = open_settings()
    keyring = Keyring(settings.state_dir / KEYRING)
    token = keyring.make_link(User(name, Role[role.upper()]), int(time.time()))
    keyring.close()
    address = f"{settings.address or _own_address(settings)}/login/{token}"
    out.print(terminal_qr(address), markup=False)
    out.print(address, markup=False)
    out.print(f"Good once, for {LINK_S // 60} minutes.", markup=False)


def _own_address(settings: Settings) -> str:
    host = f"[{settings.host}]" if ":" in settings.host else settings.host
    return f"http://{host}:{settings.port}"
