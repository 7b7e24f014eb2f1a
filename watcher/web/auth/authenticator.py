"""Who is asking: the session behind a cookie, the program behind a token, and what they may do.

Every visitor has one cookie with a random token. Logged in, it stands for a session; the token of
a form is made of it, so no other site can make one up.
"""

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from urllib.parse import parse_qs

from fastapi import Request, Response

from watcher.service.clock import Clock
from watcher.web.auth.login_throttle import LoginThrottle
from watcher.web.auth.sessions import IDLE_S, SessionStore, SessionStoreError
from watcher.web.auth.users import Role, User, Users
from watcher.web.log_throttle import LogThrottle

MOST_FORM_BYTES, MOST_FIELDS = 16 * 1024, 32
MOST_LONG_FORM_BYTES, MOST_LONG_FIELDS = 64 * 1024, 640
"""Of the checklist of a record: two fields a value, and twenty products of eight values."""
_COOKIE = "watcher"
_SECURE_COOKIE = "__Host-watcher"


class NotLoggedInError(Exception):
    """Nobody is logged in on this device."""


class AccessEndedError(Exception):
    """Whoever asks had an access that ended at ``at``."""

    def __init__(self, at: int) -> None:
        super().__init__("this access has ended")
        self.at = at


class TokenEndedError(Exception):
    """The token of the program that asks ended at ``at``."""

    def __init__(self, at: int) -> None:
        super().__init__("this token has ended")
        self.at = at


class NotAllowedError(Exception):
    """Whoever asks may not do this. The text says why."""


@dataclass(frozen=True)
class Visitor:
    """Somebody who asks for something. ``user`` is None while nobody is logged in."""

    token: str
    user: User | None = None
    session: int | None = None
    until: int | None = None
    """When the access ends; None: not by itself."""
    ended_at: int | None = None
    """When the access ended of whom nobody is any more."""

    def may(self, role: Role) -> bool:
        return self.user is not None and self.user.role >= role


class Authenticator:
    """Tells visitors apart, and checks forms. One for the whole application."""

    def __init__(self, sessions: SessionStore, access: Users, clock: Clock) -> None:
        self.sessions, self.access, self.clock = sessions, access, clock
        self.attempts = LoginThrottle()
        self._throttled = LogThrottle()

    def visitor(self, request: Request) -> Visitor:
        """Return who is asking, by cookie, or a stranger with a new token.

        Everybody is a stranger while the file of sessions cannot be read.
        """
        token = request.cookies.get(_name(request), "")
        try:
            session = self.sessions.session(token, self.clock.now()) if token else None
        except SessionStoreError as error:
            self._throttled.warn("nobody is known to be logged in", why=str(error))
            session = None
        if session is None:
            return Visitor(token or secrets.token_urlsafe(32))
        if session.over(self.clock.now()):
            return Visitor(token, ended_at=session.until)
        user = session.user
        if not session.by_link:
            # Who was taken out of the settings, or given another role, is so at once.
            role = self.access.role_of(user.name)
            if role is None:
                return Visitor(token)
            user = User(user.name, role)
        return Visitor(token, user, session.number, session.until)

    def program(self, request: Request) -> User | None:
        """Return the program whose token is shown, if one is. Raises TokenEndedError."""
        scheme, _, token = request.headers.get("authorization", "").partition(" ")
        found = self.access.program(token.strip()) if scheme.lower() == "bearer" else None
        if found is not None and found.until is not None and found.over(self.clock.now()):
            raise TokenEndedError(found.until)
        return found

    def knows(self, name: str) -> bool:
        """Return whether somebody of this name may come in: by the settings, or by a session."""
        if self.access.role_of(name) is not None:
            return True
        try:
            return any(s.user.name == name for s in self.sessions.sessions(self.clock.now()))
        except SessionStoreError as error:
            self._throttled.warn("nobody is known to be logged in", why=str(error))
            return False

    def taken(self, name: str) -> bool:
        """Return whether somebody is called so already, as a user, a program or a guest."""
        access, now = self.access, self.clock.now()
        known = {user.name for user in (*access.people, *access.of_programs)}
        known |= {guest.name for guest in self.sessions.guests() if not guest.over(now)}
        known |= {session.user.name for session in self.sessions.sessions(now)}
        return name.casefold() in {one.casefold() for one in known}

    def looker(self, request: Request) -> Visitor:
        """Require somebody who may look (a dependency)."""
        return self._require(request, Role.LOOK)

    def runner(self, request: Request) -> Visitor:
        """Require somebody who may run jobs (a dependency)."""
        return self._require(request, Role.RUN)

    def administrator(self, request: Request) -> Visitor:
        """Require somebody who may administer (a dependency)."""
        return self._require(request, Role.ADMINISTER)

    def _require(self, request: Request, role: Role) -> Visitor:
        visitor = self._known(request)
        if not visitor.may(role):
            raise NotAllowedError(f"this needs the role {role.word}")
        return visitor

    def _known(self, request: Request) -> Visitor:
        visitor = self.visitor(request)
        if visitor.ended_at is not None:
            raise AccessEndedError(visitor.ended_at)
        if visitor.user is None:
            raise NotLoggedInError
        return visitor

    def api_looker(self, request: Request) -> User:
        """Require a program that may look, or somebody logged in (a dependency)."""
        user = self.program(request) or self._known(request).user
        if user is None:
            raise NotLoggedInError
        return user

    def api_runner(self, request: Request) -> User:
        """Require a program that may run jobs (a dependency). A browser's cookie does not do."""
        return self._require_program(request, Role.RUN)

    def api_administrator(self, request: Request) -> User:
        """Require a program that may administer (a dependency). A browser's cookie does not do."""
        return self._require_program(request, Role.ADMINISTER)

    def _require_program(self, request: Request, role: Role) -> User:
        user = self.program(request)
        if user is None:
            raise NotLoggedInError
        if user.role < role:
            raise NotAllowedError(f"this needs the role {role.word}")
        return user

    def enter(self, request: Request, response: Response, token: str) -> None:
        """Give the device its token."""
        response.set_cookie(
            _name(request),
            token,
            max_age=IDLE_S,
            path="/",
            secure=_is_secure(request),
            httponly=True,
            samesite="strict",
        )

    def leave(self, request: Request, response: Response) -> None:
        """Take the device's token away."""
        response.delete_cookie(
            _name(request), path="/", secure=_is_secure(request), httponly=True, samesite="strict"
        )

    def form_token(self, visitor: Visitor) -> str:
        """Return the token a form must bring back; another one every time, so that its compressed

        size tells nothing about it.
        """
        salt = secrets.token_urlsafe(12)
        return f"{salt}.{self._sign(visitor, salt)}"

    async def form(
        self, request: Request, visitor: Visitor, *, long: bool = False, most_bytes: int = 0
    ) -> dict[str, str]:
        """Read a form and check that it is one of ours. Raises NotAllowedError.

        ``most_bytes`` is for a form that holds a file.
        """
        bounds = (
            (MOST_LONG_FORM_BYTES, MOST_LONG_FIELDS) if long else (MOST_FORM_BYTES, MOST_FIELDS)
        )
        bounds = max(bounds[0], most_bytes), bounds[1]
        form = await _form(request, *bounds)
        self.check_form(visitor, form.get("form_token", ""))
        return form

    def check_form(self, visitor: Visitor, token: str) -> None:
        """Check that the form that brought a token is one of ours. Raises NotAllowedError."""
        salt, _, signature = token.partition(".")
        if not hmac.compare_digest(self._sign(visitor, salt).encode(), signature.encode()):
            raise NotAllowedError("this form is not from here, or from before you logged in")

    def _sign(self, visitor: Visitor, salt: str) -> str:
        said = f"form:{salt}:{visitor.token}".encode()
        return hmac.new(self.sessions.secret, said, hashlib.sha256).hexdigest()


async def _form(request: Request, most_bytes: int, most_fields: int) -> dict[str, str]:
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > most_bytes:
            raise NotAllowedError("this form is too large")
    try:
        form = parse_qs(
            body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=most_fields
        )
    except ValueError:
        raise NotAllowedError("this form has too many fields") from None
    # No database keeps this character in a text.
    return {name: values[-1].replace("\0", "") for name, values in form.items()}


def _is_secure(request: Request) -> bool:
    return request.url.scheme == "https"


def _name(request: Request) -> str:
    # With this prefix browsers take the cookie over https only, and from no other host.
    return _SECURE_COOKIE if _is_secure(request) else _COOKIE
