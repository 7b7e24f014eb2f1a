"""Telling systemd how the watch is: ready, alive, stopping (sd_notify(3), one datagram each)."""

import os
import socket


def notify(state: str) -> bool:
    """Send one state ("READY=1"); false where no service manager listens."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address:
        return False
    # A leading @ means Linux's abstract socket namespace.
    target = "\0" + address[1:] if address.startswith("@") else address
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as sock:
        sock.sendto(state.encode(), target)
    return True


def watchdog_interval_s() -> float | None:
    """Half of what the service manager allows between signs of life; None without a watchdog."""
    allowed = os.environ.get("WATCHDOG_USEC")
    return int(allowed) / 2e6 if allowed else None
