"""The chain of hashes: what breaks it, and what cannot be seen without a noted head."""

import hashlib
from dataclasses import fields, replace

import jcs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.records.chain import FIRST, Link, canonical, check, linked, sha256

JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(codec="utf-8")),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(st.characters(codec="utf-8")), inner, max_size=4)
    ),
    max_leaves=12,
)
OTHER = {"number": 99, "job": 99, "at": -5}


def chain(length: int, job: int = 1) -> list[Link]:
    links: list[Link] = []
    for n in range(length):
        before = links[-1] if links else None
        content = sha256(canonical({"note": f"entry {n}"}))
        links.append(
            linked(after=before, job=job, kind="told", at=1000 + n, by="me", content_sha256=content)
        )
    return links


@given(JSON)
def test_the_canonical_form_is_the_one_an_independent_library_makes(value: object) -> None:
    assert canonical(value).encode() == jcs.canonicalize(value)


def test_the_canonical_form_of_the_example_in_rfc_8785() -> None:
    # RFC 8785, 3.2.2 (the example from memory; the independent library above agrees).
    example = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 1e-27],
        "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
        "literals": [None, True, False],
    }
    assert canonical(example) == (
        '{"literals":[null,true,false],'
        '"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


def test_an_entrys_hash_can_be_worked_out_without_this_program() -> None:
    first, second = chain(2)
    covered = {
        "number": 2,
        "job": 1,
        "kind": "told",
        "at": 1001,
        "by": "me",
        "content_sha256": hashlib.sha256(b'{"note":"entry 1"}').hexdigest(),
        "previous": first.hash,
    }
    assert second.hash == hashlib.sha256(jcs.canonicalize(covered)).hexdigest()
    assert first.previous == FIRST == "0" * 64


@pytest.mark.parametrize("length", [0, 1, 5])
def test_a_chain_as_it_was_written_is_whole(length: int) -> None:
    verdict = check(chain(length))
    assert (verdict.count, verdict.broken) == (length, None)


@given(
    place=st.integers(0, 4),
    field=st.sampled_from([f.name for f in fields(Link)]),
    text=st.text(max_size=70),
)
def test_any_change_to_any_part_of_an_entry_breaks_the_chain_there(
    place: int, field: str, text: str
) -> None:
    links = chain(5)
    other = OTHER.get(field, text)
    if getattr(links[place], field) == other:
        return
    links[place] = replace(links[place], **{field: other})
    broken = check(links).broken
    assert broken is not None
    assert broken.number == place + 1


@given(st.integers(0, 3))
def test_an_entry_that_was_removed_is_named(place: int) -> None:
    links = chain(5)
    del links[place]
    broken = check(links).broken
    assert broken is not None
    assert broken.number == place + 1


@given(st.permutations(range(5)))
def test_entries_in_another_order_break_the_chain(order: list[int]) -> None:
    links = chain(5)
    whole = check([links[n] for n in order]).broken is None
    assert whole == (order == sorted(order))


@given(place=st.integers(0, 4))
def test_an_entry_sealed_anew_after_a_change_breaks_the_chain_at_the_next_one(place: int) -> None:
    links = chain(6)
    before = links[place - 1] if place else None
    links[place] = linked(
        after=before, job=7, kind="told", at=0, by="forger", content_sha256=sha256("x")
    )
    broken = check(links).broken
    assert broken is not None
    assert broken.number == place + 2


def test_an_end_cut_off_shows_only_against_a_noted_head() -> None:
    links = chain(5)
    head = links[-1].hash
    assert check(links[:3]).broken is None
    broken = check(links[:3], head).broken
    assert broken is not None
    assert "noted" in broken.why


def test_a_chain_written_anew_shows_only_against_a_noted_head() -> None:
    noted = chain(5)[2].hash
    forged = chain(5, job=2)
    assert check(forged).broken is None
    assert check(forged, noted).broken is not None


def test_a_head_noted_earlier_stays_in_the_chain_as_it_grows() -> None:
    assert check(chain(5), chain(3)[-1].hash).broken is None


def test_an_entry_that_cannot_be_read_breaks_the_chain() -> None:
    links = chain(3)
    broken = check([links[0], None]).broken
    assert broken is not None
    assert broken.number == 2
