"""The languages there are, and which one a reader likes."""

import pytest

from watcher.i18n.language import (
    Language,
    UnknownLanguageError,
    accepted,
    codes,
    language,
    of_machine,
)


def test_the_languages_are_english_and_those_with_a_catalogue() -> None:
    assert codes() == ("en", "es")


def test_an_unknown_code_is_refused_with_those_there_are() -> None:
    with pytest.raises(UnknownLanguageError, match='"xx" is not known; there are: en, es'):
        language("xx")


@pytest.mark.parametrize(
    ("header", "code"),
    [
        ("", None),
        ("es", "es"),
        ("es-MX,es;q=0.9,en;q=0.8", "es"),
        ("en-US,en;q=0.9,es;q=0.8", "en"),
        ("de,fr;q=0.5", None),
        ("de, es;q=0.2", "es"),
        ("es;q=0", None),
        ("*;q=nonsense,,;", None),
    ],
)
def test_the_liking_of_a_reader_decides(header: str, code: str | None) -> None:
    found = accepted(header)
    assert (found and found.code) == code


def test_decimals_are_written_as_the_region_of_the_catalogue_writes_them() -> None:
    german = Language("de")
    assert language("es").number("0.5 mph") == "0.5 mph"
    german.__dict__["_locale"] = __import__("babel").Locale("de")
    assert german.number("10.5 km/h, size 02. end") == "10,5 km/h, size 02. end"


@pytest.mark.parametrize(
    ("environment", "code"),
    [
        ({}, "en"),
        ({"LANG": "es"}, "es"),
        ({"LANG": "es_MX.UTF-8"}, "es"),
        ({"LANG": "de_DE.UTF-8"}, "en"),
        ({"LANG": "C.UTF-8"}, "en"),
        ({"LANG": "es_MX", "LC_ALL": "C"}, "en"),
        ({"LANG": "en_US", "WATCHER_LANGUAGE": "es"}, "es"),
        ({"LANG": "es_US", "WATCHER_LANGUAGE": ""}, "es"),
    ],
)
def test_a_process_is_started_with_a_language(environment: dict[str, str], code: str) -> None:
    assert of_machine(environment).code == code
