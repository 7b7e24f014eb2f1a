"""``watcher incident`` over the log of the other commands' tests."""

import json
from pathlib import Path

from watcher.records.document import check_document


def test_an_account_is_written_listed_shown_and_exported(command, tmp_path: Path) -> None:
    assert "No account" in command("incident", "list").output
    found = command(
        "incident", "write", "west_bottom", "--suspected", "onto-us",
        "--from", "2026-06-10T10:30", "--to", "2026-06-10T11:00", "--seen", "spots", "--by", "A",
    )  # fmt: skip
    assert found.exit_code == 0, found.output
    assert "Account of an incident 1 is sealed." in found.output
    assert "west_bottom" in command("incident", "list").output
    shown = command("incident", "show", "1").output
    for wanted in ("Drift suspected onto our crop", "What was seen: spots", "Who lay where"):
        assert wanted in shown, wanted
    assert command("incident", "export", "1").exit_code == 0
    assert (tmp_path / "incident-1.pdf").read_bytes().startswith(b"%PDF")
    assert command("incident", "export", "1", "-f", "json").exit_code == 0
    document = (tmp_path / "incident-1.json").read_bytes()
    assert check_document(document).broken is None
    assert json.loads(document)["document"]["entries"][0]["kind"] == "incident"
    assert command("record", "verify").exit_code == 0


def test_a_place_or_a_time_that_is_none_is_named(command) -> None:
    for arguments, wanted in (
        (("nowhere", "--from", "2026-06-10T10:30"), "neither a field nor a neighbour"),
        (("west_bottom", "--from", "soon"), "no date with a time"),
        (("west_bottom", "--from", "2026-07-10T10:30"), "still to come"),
    ):
        found = command("incident", "write", *arguments, "--suspected", "from-us")
        assert found.exit_code == 2, found.output
        assert wanted in " ".join(found.output.split())
