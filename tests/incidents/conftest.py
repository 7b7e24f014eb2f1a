"""What the tests of accounts share: the invented farm, and a log of a job it sprayed."""

from tests.records.conftest import desk, farm, job, store

__all__ = ["desk", "farm", "job", "store"]
