"""What these tests share with those of alerts."""

from tests.alerts.conftest import farm, receiver, store

__all__ = ["farm", "receiver", "store"]
