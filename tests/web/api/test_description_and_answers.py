"""The API against its own OpenAPI document: no fault, no answer that is not described."""

import asyncio
from pathlib import Path
from typing import Any

import pytest

from tests.support.farm_files import written
from tests.support.visiting import OWNER, visited

pytestmark = pytest.mark.long

schemathesis = pytest.importorskip("schemathesis")


@schemathesis.serializer("application/zip")
def _as_it_is(_context: Any, value: Any) -> bytes:
    return value if isinstance(value, bytes) else str(value).encode()


CHECKED = 30
"""Requests made up for each operation."""


def _problems(url: str) -> tuple[int, list[str]]:
    """Make up requests for every operation; return how many, and what was wrong with answers."""
    from hypothesis import HealthCheck, Phase, given, settings  # noqa: PLC0415

    schema = schemathesis.openapi.from_url(
        f"{url}/api/v1/openapi.json", headers={"Authorization": f"Bearer {OWNER}"}
    )
    problems: list[str] = []
    asked = 0
    for result in schema.get_all_operations():
        operation = result.ok()
        if operation.path == "/api/v1/events":
            continue  # it never ends: tests/web/api/test_events.py

        @given(case=operation.as_strategy())
        @settings(
            max_examples=CHECKED,
            deadline=None,
            derandomize=True,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        def ask(case: Any) -> None:
            nonlocal asked
            asked += 1
            try:
                case.call_and_validate(
                    headers={"Authorization": f"Bearer {OWNER}"},
                    checks=[
                        schemathesis.checks.not_a_server_error,
                        schemathesis.checks.status_code_conformance,
                        schemathesis.checks.content_type_conformance,
                        schemathesis.checks.response_schema_conformance,
                    ],
                )
            except (Exception, BaseExceptionGroup) as error:
                problems.append(f"{case.method} {case.path}: {error}")

        ask()
    return asked, problems


async def test_no_operation_fails_or_answers_what_is_not_described(tmp_path: Path) -> None:
    async with visited(tmp_path, farm_file=written(tmp_path)) as v:
        asked, problems = await asyncio.to_thread(_problems, str(v.web.base_url))
    assert asked > 100
    assert not problems, "\n\n".join(problems[:3])
