"""The language of the command line: the farm's, and before its file is read the machine's."""

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

Command = Callable[..., Result]
START = (
    *("job", "start", "hill_forty", "--setup", "fan_15"),
    *("--confirm", "drift onto a neighbour broken"),
)


def _words(done: Result) -> str:
    """All that was printed, without a table's lines and line ends."""
    return " ".join("".join(c if c not in "│┃╭╮╰╯─━" else " " for c in done.output).split())


@pytest.fixture
def spanish(command: Command, example_path: Path, tmp_path: Path, monkeypatch) -> Command:
    """Commands on the example farm whose file says that it speaks Spanish."""
    text = example_path.read_text(encoding="utf-8")
    file = tmp_path / "farm.toml"
    spoken = 'units = "us"\nlanguage = "es"'
    file.write_text(text.replace('units = "us"', spoken, 1), encoding="utf-8")
    (tmp_path / "fields.geojson").write_bytes((example_path.parent / "fields.geojson").read_bytes())
    monkeypatch.setenv("WATCHER_FARM", str(file))
    monkeypatch.setenv("COLUMNS", "240")
    return command


def test_answers_and_tables_are_in_the_language_of_the_farm(spanish: Command) -> None:
    assert "Todo en orden." in _words(spanish("check"))
    started = _words(spanish(*START))
    assert "Trabajo 1 en hill_forty: empezado, " in started
    assert "Guidance only" not in started
    listed = _words(spanish("job", "list"))
    assert "Trabajo Parcela Equipo Estado Qué hacer Empezado Pulverizado Previsto" in listed
    assert "en marcha" in listed
    ranked = _words(spanish("now"))
    assert "Por qué" in ranked
    assert "apta" in ranked
    assert "Fuente Oída Qué está mal y qué hacer" in _words(spanish("sources"))
    assert "Todavía no se ha enviado nada." in _words(spanish("messages"))


def test_a_refusal_is_in_the_language_of_the_farm(spanish: Command) -> None:
    refused = spanish("why", "nowhere")
    assert refused.exit_code == 2
    assert "no hay ninguna parcela 'nowhere'; el archivo de la finca tiene" in _words(refused)


def test_mistakes_of_the_farm_file_are_in_its_language(spanish: Command, tmp_path: Path) -> None:
    file = tmp_path / "farm.toml"
    file.write_text(file.read_text().replace('boom_width = "90 ft"', "boom_width = 90", 1))
    assert "boom_width = 90: un número solo no tiene unidad" in _words(spanish("check"))


@pytest.mark.parametrize(
    ("variable", "value"),
    [("WATCHER_LANGUAGE", "es"), ("LANG", "es_MX.UTF-8"), ("LC_ALL", "es")],
)
def test_before_a_farm_is_read_the_machine_says_the_language(
    command: Command, monkeypatch: pytest.MonkeyPatch, variable: str, value: str
) -> None:
    monkeypatch.setenv(variable, value)
    monkeypatch.setenv("WATCHER_PORT", "eighty")
    assert "WATCHER_PORT: debe ser un número entero Puerto web." in _words(command("check"))


def test_a_farm_without_a_language_stays_english_wherever_it_is_run(
    command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LANG", "es_MX.UTF-8")
    assert "All in order." in _words(command("check"))


def test_help_is_in_the_language_of_the_machine(
    command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "Start a job on a field." in _words(command("job", "--help"))
    monkeypatch.setenv("LANG", "es_MX.UTF-8")
    assert "Empieza un trabajo en una parcela." in _words(command("job", "--help"))
    assert "El número del trabajo, vea" in _words(command("job", "pause", "--help"))
    assert "Revisa el archivo de la finca" in _words(command("--help"))


def test_a_language_nobody_has_is_refused_with_those_there_are(
    command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WATCHER_LANGUAGE", "xx")
    assert "WATCHER_LANGUAGE: there is no such language; there are: en, es" in _words(
        command("check")
    )
