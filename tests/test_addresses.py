"""Who is behind an address, and whether it lies on the open network."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.addresses import is_public, sender

OURS = [
    "127.0.0.1",
    "0.0.0.0",
    "10.1.2.3",
    "172.16.0.1",
    "192.168.1.1",
    "169.254.169.254",
    "100.64.0.1",
    "224.0.0.1",
    "224.0.1.1",
    "239.1.1.1",
    "240.0.0.1",
    "255.255.255.255",
    "::",
    "::1",
    "::ffff:127.0.0.1",
    "::ffff:10.0.0.1",
    "::ffff:a9fe:a9fe",
    "64:ff9b::7f00:1",
    "64:ff9b::c0a8:101",
    "2002:7f00:1::1",
    "2002:c0a8:101::1",
    "2001:0:4136:e378:8000:63bf:3fff:fdd2",
    "fe80::1",
    "fe80::1%eth0",
    "fc00::1",
    "fd12:3456::1",
    "ff02::1",
    "ff0e::1",
    "",
    "farm.example",
    "127.1",
]
THEIRS = ["8.8.8.8", "203.0.112.1", "2606:4700::1111", "::ffff:8.8.8.8", "64:ff9b::808:808"]


@pytest.mark.parametrize("address", OURS)
def test_this_machine_and_its_network_are_not_the_open_one(address: str) -> None:
    assert not is_public(address)


@pytest.mark.parametrize("address", THEIRS)
def test_the_open_network_is(address: str) -> None:
    assert is_public(address)


@given(st.ip_addresses(v=4).map(str))
def test_an_ipv4_address_within_an_ipv6_one_counts_as_itself(address: str) -> None:
    assert is_public(f"::ffff:{address}") == is_public(address)
    assert sender(f"::ffff:{address}") == sender(address)


@given(st.text())
def test_nothing_makes_it_fail(text: str) -> None:
    assert len(sender(text)) <= 64
    assert is_public(text) in {True, False}


def test_one_ipv6_network_is_one_sender() -> None:
    assert sender("2001:db8:1:2::1") == sender("2001:db8:1:2:ffff::9")
    assert sender("2001:db8:1:2::1") != sender("2001:db8:1:3::1")
