"""What an IP address tells: who is behind it, and whether it lies on the open network."""

from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network

_NAT64 = ip_network("64:ff9b::/96")
"""IPv4 addresses as IPv6 ones, translated by the network (RFC 6052)."""
_MOST_CHARACTERS = 64


def sender(address: str) -> str:
    """Return what one sender's addresses have in common, to count by it.

    An IPv4 address is one sender's; of IPv6 whoever has one address has its whole /64.
    """
    try:
        parsed = _plain(ip_address(address.partition("%")[0]))
    except ValueError:  # a proxy may name its clients as it likes
        return address[:_MOST_CHARACTERS]
    if isinstance(parsed, IPv4Address):
        return str(parsed)
    return str(ip_network((parsed, 64), strict=False))


def is_public(address: str) -> bool:
    """Return whether an address lies outside this machine and its network.

    An IPv4 address within an IPv6 one counts as itself. False for what is no address.
    """
    try:
        parsed = _plain(ip_address(address.partition("%")[0]))
    except ValueError:
        return False
    if isinstance(parsed, IPv6Address) and parsed.teredo is not None:
        return False
    return parsed.is_global and not (
        parsed.is_multicast or parsed.is_reserved or parsed.is_unspecified or parsed.is_loopback
    )


def _plain(address: IPv4Address | IPv6Address) -> IPv4Address | IPv6Address:
    """The IPv4 address that an IPv6 one stands for, where it does."""
    if isinstance(address, IPv4Address):
        return address
    if address in _NAT64:
        return IPv4Address(int(address) & 0xFFFFFFFF)
    return address.ipv4_mapped or address.sixtofour or address
