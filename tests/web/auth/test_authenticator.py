"""Coming in and going out over HTTP, and everything that must be refused at the door."""

import asyncio
from pathlib import Path

import pytest

from tests.support.visiting import PASSPHRASE, Visited, visited
from watcher.web.auth.login_throttle import FREE_OF_NAME
from watcher.web.auth.sessions import IDLE_S, LINK_S
from watcher.web.auth.users import Role, User

EVERY_PAGE = ["/", "/hours", "/fields/hill", "/jobs", "/log", "/sources", "/more", "/devices"]


@pytest.mark.parametrize("page", EVERY_PAGE)
async def test_a_stranger_is_sent_to_the_log_in(tmp_path: Path, page: str) -> None:
    async with visited(tmp_path) as v:
        answer = await v.web.get(page)
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/login")


async def test_name_and_passphrase_let_somebody_in(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        answer = await v.send(
            "/login", "/login", user="driver", passphrase=PASSPHRASE, next="/jobs"
        )
        assert (answer.status_code, answer.headers["location"]) == (303, "/jobs")
        assert (await v.web.get("/jobs")).status_code == 200


@pytest.mark.parametrize(("user", "passphrase"), [("driver", "wrong"), ("nobody", PASSPHRASE)])
async def test_a_wrong_name_and_a_wrong_passphrase_are_refused_in_the_same_words(
    tmp_path: Path, user: str, passphrase: str
) -> None:
    async with visited(tmp_path) as v:
        answer = await v.send("/login", "/login", user=user, passphrase=passphrase)
        assert answer.status_code == 403
        assert "Name or passphrase is wrong." in answer.text
        assert (await v.web.get("/")).status_code == 303


async def _guess(v: Visited, times: int, *, address: str = "203.0.113.9") -> list[int]:
    """Guess at a passphrase from an address, as a proxy on this machine tells it."""
    v.web.headers["X-Forwarded-For"] = address
    guesses = [
        (await v.send("/login", "/login", user="driver", passphrase=f"guess {number}")).status_code
        for number in range(times)
    ]
    del v.web.headers["X-Forwarded-For"]
    return guesses


async def test_who_guesses_must_wait_even_with_the_right_passphrase(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        assert await _guess(v, FREE_OF_NAME + 1) == [403] * FREE_OF_NAME + [429]
        v.web.headers["X-Forwarded-For"] = "203.0.113.9"
        answer = await v.send("/login", "/login", user="driver", passphrase=PASSPHRASE)
        assert (answer.status_code, answer.headers["retry-after"]) == (429, "2")
        v.service.clock.at += 2
        answer = await v.send("/login", "/login", user="driver", passphrase=PASSPHRASE)
        assert answer.status_code == 303


async def test_nobody_else_waits_for_it(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        for number in range(12):
            await _guess(v, FREE_OF_NAME + 1, address=f"203.0.113.{number}")
        v.web.headers["X-Forwarded-For"] = "198.51.100.1"
        answer = await v.send("/login", "/login", user="driver", passphrase=PASSPHRASE)
        assert answer.status_code == 303


async def test_a_one_time_link_lets_in_whoever_guessed_before(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await _guess(v, FREE_OF_NAME + 3, address="203.0.113.9")
        v.web.headers["X-Forwarded-For"] = "203.0.113.9"
        assert (await v.send("/login/no-such", "/login/no-such")).status_code == 403
        link = f"/login/{v.sessions.make_link(User('phone', Role.RUN), v.service.clock.at)}"
        assert (await v.send(link, link)).status_code == 303


async def test_guessing_many_at_once_is_stopped_as_soon(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        content = {"form_token": v.form_token((await v.web.get("/login")).text), "user": "driver"}
        guesses = (
            v.web.post("/login", data=content | {"passphrase": str(guess)}, timeout=60)
            for guess in range(3 * FREE_OF_NAME)
        )
        answers = [answer.status_code for answer in await asyncio.gather(*guesses)]
        assert answers.count(403) == FREE_OF_NAME
        assert set(answers) <= {403, 429, 503}


async def test_the_token_is_another_one_once_somebody_is_in(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await v.web.get("/login")
        before = v.web.cookies["watcher"]
        await v.send("/login", "/login", user="driver", passphrase=PASSPHRASE)
        assert v.web.cookies["watcher"] != before


async def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        answer = await v.send("/login", "/login", user="driver", passphrase=PASSPHRASE)
        cookie = answer.headers["set-cookie"]
        assert "HttpOnly" in cookie
        assert "SameSite=strict" in cookie


async def test_behind_https_the_cookie_is_for_https_only(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        answer = await v.web.get("/login", headers={"X-Forwarded-Proto": "https"})
        cookie = answer.headers["set-cookie"]
        assert cookie.startswith("__Host-watcher=")
        assert "Secure" in cookie
        assert "max-age" in answer.headers["strict-transport-security"]


@pytest.mark.parametrize("to", ["//evil.example/", "https://evil.example/", "/\\evil.example"])
async def test_nobody_is_sent_on_to_another_site(tmp_path: Path, to: str) -> None:
    async with visited(tmp_path) as v:
        answer = await v.send("/login", "/login", user="driver", passphrase=PASSPHRASE, next=to)
        assert answer.headers["location"] == "/"


async def test_a_link_lets_a_device_in_once(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        link = f"/login/{v.sessions.make_link(User('phone', Role.RUN), v.service.clock.at)}"
        assert (await v.web.get(link)).status_code == 200  # a preview does not use it up
        assert (await v.send(link, link)).status_code == 303
        assert (await v.web.get("/")).status_code == 200
        v.web.cookies.clear()
        assert (await v.send(link, link)).status_code == 403
        assert (await v.web.get("/")).status_code == 303


async def test_an_old_link_is_refused(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        link = f"/login/{v.sessions.make_link(User('phone', Role.RUN), v.service.clock.at)}"
        v.service.clock.at += LINK_S + 1
        assert (await v.send(link, link)).status_code == 403


async def test_logging_out_ends_the_session_itself(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        token = v.web.cookies["watcher"]
        answer = await v.send("/more", "/logout")
        assert answer.headers["clear-site-data"] == '"cache", "storage"'
        v.web.cookies.set("watcher", token, domain="127.0.0.1")
        assert (await v.web.get("/")).status_code == 303


async def test_a_session_nobody_uses_ends(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        v.service.clock.at += IDLE_S + 1
        assert (await v.web.get("/")).status_code == 303


@pytest.mark.parametrize("to", ["/jobs", "/logout"])
async def test_a_form_without_its_token_is_refused(tmp_path: Path, to: str) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        answer = await v.web.post(to, data={"field": "hill", "setup": "coarse"})
        assert answer.status_code == 403


async def test_the_token_of_somebody_else_is_refused(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.LOOK)
        token = v.form_token((await v.web.get("/more")).text)
        v.log_in(Role.RUN)
        content = {"form_token": token, "field": "hill", "setup": "coarse"}
        assert (await v.web.post("/jobs", data=content)).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
async def test_a_form_from_another_site_is_refused(tmp_path: Path, headers: dict[str, str]) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        v.web.headers.update(headers)
        content = {"field": "hill", "setup": "coarse"}
        answer = await v.send("/fields/hill", "/jobs", **content)
        assert answer.status_code == 403
        assert "another site" in answer.json()["wrong"]


async def test_who_may_only_look_starts_no_job(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.LOOK)
        page = (await v.web.get("/fields/hill")).text
        assert "Start spraying" not in page
        answer = await v.send("/more", "/jobs", field="hill", setup="coarse")
        assert answer.status_code == 403


async def test_who_may_run_jobs_lets_nobody_in(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.RUN)
        answer = await v.send("/more", "/devices/link", name="phone", role="administer")
        assert answer.status_code == 403


async def test_an_administrator_lets_a_device_in_and_puts_it_out(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.ADMINISTER)
        page = (await v.send("/devices", "/devices/link", name="cab", role="look")).text
        link = page.split("/login/")[1].split("<")[0]
        user = v.sessions.use_link(link, v.service.clock.at)
        assert user == User("cab", Role.LOOK)
        token = v.sessions.open(user, v.service.clock.at, by_link=True)
        session = v.sessions.session(token, v.service.clock.at)
        assert session is not None
        await v.send("/devices", f"/devices/{session.number}/out")
        assert v.sessions.session(token, v.service.clock.at) is None


async def test_a_form_that_is_too_large_is_refused(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        answer = await v.send("/fields/hill", "/jobs", field="x" * 20_000)
        assert answer.status_code == 403


async def test_an_invitation_leads_to_the_address_in_the_settings(tmp_path: Path) -> None:
    async with visited(tmp_path, address="https://farm.example") as v:
        v.log_in(Role.ADMINISTER)
        page = (await v.send("/devices", "/devices/link", name="cab", role="look")).text
        assert "https://farm.example/login/" in page
        assert 'class="qr"' in page
        assert "WATCHER_ADDRESS" not in page


async def test_an_invitation_never_leads_where_a_request_says_it_was_sent(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.ADMINISTER)
        token = v.form_token((await v.web.get("/devices")).text)
        answer = await v.web.post(
            "/devices/link",
            data={"form_token": token, "name": "cab", "role": "look"},
            headers={"Host": "evil.example"},
        )
        assert answer.status_code == 200
        assert "evil.example" not in answer.text
        assert f"http://127.0.0.1:{v.web.base_url.port}/login/" in answer.text
        # No phone reaches this machine at 127.0.0.1: no code to scan, but what to set.
        assert 'class="qr"' not in answer.text
        assert "WATCHER_ADDRESS" in answer.text


async def test_a_form_with_more_fields_than_any_of_ours_is_refused(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        answer = await v.send("/more", "/jobs", **{f"field{n}": "x" for n in range(100)})
        assert answer.status_code == 403


async def test_where_the_sessions_cannot_be_kept_a_log_in_says_so_and_all_else_goes_on(
    tmp_path: Path,
) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        v.sessions._file.execute("PRAGMA query_only=ON")  # as on a disk that is full
        v.service.clock.at += 3600  # the use of the session would be noted
        assert (await v.web.get("/jobs")).status_code == 200
        v.web.cookies.clear()
        for page, found in (
            ("/login", {"user": "driver", "passphrase": PASSPHRASE}),
            ("/login/link", {}),
        ):
            answer = await v.send(page, page, **found)
            assert answer.status_code == 503
            assert "file of sessions" in answer.text
            assert "alerts sent as before" in answer.text
        judged = v.service.watch.judged
        await v.service.judged()
        assert v.service.watch.judged > judged
        assert (await v.web.get("/health")).status_code in {200, 503}


async def test_while_the_sessions_cannot_be_read_everybody_is_a_stranger(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        v.sessions._file.execute("ALTER TABLE session RENAME TO gone")
        assert (await v.web.get("/jobs")).headers["location"].startswith("/login")
        v.sessions._file.execute("ALTER TABLE gone RENAME TO session")
        assert (await v.web.get("/jobs")).status_code == 200
