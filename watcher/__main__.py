"""``python -m watcher`` is the ``watcher`` command."""

from watcher.cli.app import app

app()
