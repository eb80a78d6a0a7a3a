"""Under which names and addresses other machines in the local network reach this one."""

from __future__ import annotations

import contextlib
import ipaddress
import re
import socket
from dataclasses import dataclass

import ifaddr

# Bridges of containers and virtual machines: no phone comes in by them.
_INNER = re.compile(r"(docker|br-|veth|virbr|vboxnet|vmnet|lxc|cni)")
_LABEL = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")


@dataclass(frozen=True)
class Names:
    """What this machine is called: host names first, then IPv4 addresses, the likeliest first."""

    hosts: tuple[str, ...]
    addresses: tuple[str, ...]

    @property
    def all(self) -> tuple[str, ...]:
        """Names and addresses."""
        return self.hosts + self.addresses


def local_names() -> Names:
    """This machine's host names and its addresses in private networks, without 127.0.0.1.

    Addresses that the whole internet routes are left out: Thirdhand is for the site's own network.
    """
    label = socket.gethostname().partition(".")[0].lower()
    hosts = (f"{label}.local", label) if _LABEL.fullmatch(label) and label != "localhost" else ()
    found = [
        str(ip.ip)
        for adapter in ifaddr.get_adapters()
        if not _INNER.match(adapter.nice_name)
        for ip in adapter.ips
        if ip.is_IPv4 and _is_local(str(ip.ip))
    ]
    first = _towards_the_network()
    return Names(hosts, tuple(sorted(dict.fromkeys(found), key=lambda each: each != first)))


def _is_local(text: str) -> bool:
    address = ipaddress.ip_address(text)
    return not (address.is_global or address.is_loopback or address.is_unspecified)


def _towards_the_network() -> str:
    """The address of the default route, "" without one; nothing is sent."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        asked.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737)
        return str(asked.getsockname()[0])
    return ""
