"""Every log of the tests is another farm's too, which has rows of every kind under equal names.

With ``--beside-another-farm`` the tests are of the second farm of their logs and must not notice:
what they expect is what a farm alone does.
"""

import os

from sqlalchemy import Connection

from tests.support.farm_steps import STEPS
from tests.support.skies import MORNING
from watcher.store import migrations
from watcher.store.database import Database
from watcher.store.farm_key import ALONE, FARM
from watcher.store.session import FarmSession
from watcher.store.tables import Farm

NUMBER = 2
VARIABLE = "TESTS_FARM"
"""Tells processes that a test starts on its own log which farm it is of."""


def begin() -> None:
    """Make every log from now on hold both, and be the second one's."""
    defaults = Database.__init__.__kwdefaults__
    assert defaults is not None
    defaults["farm"] = NUMBER
    os.environ[VARIABLE] = str(NUMBER)
    alone = migrations.create

    def with_another(connection: Connection) -> None:
        alone(connection)
        own = connection.get_execution_options()[FARM]
        connection.execution_options(**{FARM: ALONE})
        session = FarmSession(connection)
        session.add(Farm(id=NUMBER, name="the tests' own"))
        for step in STEPS:
            step(session, MORNING, 4.0)
        session.commit()  # of the session; the transaction goes on
        session.close()
        connection.execution_options(**{FARM: own})

    migrations.create = with_another
