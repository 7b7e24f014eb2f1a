"""Posts refused since the log was last told: counted, and of bounded size."""

from watcher.service.refusals import Refusals
from watcher.store.refused import MOST_ADDRESSES

NOW = 1_781_107_200


def test_posts_are_counted_until_they_are_taken() -> None:
    refusals = Refusals({"mast"})
    assert refusals.note("mast", "token", NOW, "a wrong token", "10.0.0.7")
    assert not refusals.note("mast", "token", NOW + 1, "a wrong token", "10.0.0.7")
    assert refusals.note("mast", "body", NOW, "no unit", "10.0.0.7")
    token, body = refusals.take()
    assert (token.count, token.last_at, body.count, body.why) == (2, NOW + 1, 1, "no unit")
    assert refusals.take() == []


def test_a_flood_is_of_bounded_size() -> None:
    refusals = Refusals({"mast"})
    for n in range(5000):
        refusals.note(f"name {n}", "token", NOW + n, "a wrong token", f"10.0.0.{n}")
        refusals.note("mast", "body", NOW + n, "x" * 10_000, f"10.0.0.{n}")
    strangers, mast = refusals.take()
    assert (strangers.source, strangers.count, strangers.why) == ("", 5000, "name 4999")
    assert len(mast.why) <= 200
    assert len(mast.addresses) == len(strangers.addresses) == MOST_ADDRESSES


def test_what_could_not_be_kept_is_counted_in_again() -> None:
    refusals = Refusals({"mast"})
    refusals.note("mast", "token", NOW, "a wrong token", "10.0.0.7")
    taken = refusals.take()
    refusals.note("mast", "token", NOW + 5, "a wrong token", "10.0.0.8")
    refusals.put_back(taken)
    [whole] = refusals.take()
    assert (whole.count, whole.last_at) == (2, NOW + 5)
    assert whole.addresses == ("10.0.0.7", "10.0.0.8")
