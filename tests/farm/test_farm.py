"""A farm as a whole: its languages, and what tells it from another."""

from typing import Any

import pytest

from tests.support.farms import build, tables
from watcher.farm import Farm


def farm(recipients: Any = None, language: str = "en") -> Farm:
    config = tables()
    config["farm"]["language"] = language
    config["recipients"] = recipients or config["recipients"]
    return build(config)


@pytest.mark.parametrize(
    ("recipient", "code"), [("maria", "es"), ("grower", "en"), ("nobody_known", "en")]
)
def test_everyone_is_written_to_in_their_own_language_or_the_farms(
    recipient: str, code: str
) -> None:
    known = farm({"grower": {}, "maria": {"language": "es"}})
    assert known.language_of(recipient).code == code
    assert farm(language="es").language_of("grower").code == "es"


def test_a_digest_tells_one_farm_from_another() -> None:
    digests = {farm().digest, farm(language="es").digest, farm({"joe": {}}).digest}
    assert len(digests) == 3
    assert farm().digest == farm().digest
