"""Every command in one application."""

import typer

from watcher.cli import (
    door,
    explain,
    farm,
    job,
    log,
    messages,
    now,
    record,
    replay,
    running,
    season,
)

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="A weather watch for growers who spray their own fields. The label is the law; "
    "this program never overrides it.",
)
farm.add_to(app)
now.add_to(app)
explain.add_to(app)
season.add_to(app)
replay.add_to(app)
running.add_to(app)
messages.add_to(app)
door.add_to(app)
app.add_typer(job.app, name="job")
app.add_typer(log.app, name="log")
app.add_typer(record.app, name="record")
