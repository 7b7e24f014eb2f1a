"""What these tests share with those of judge."""

from tests.judge.conftest import plan, plan_of, tables, weather

__all__ = ["plan", "plan_of", "tables", "weather"]
