"""A background weather watch for growers who spray their own fields."""
