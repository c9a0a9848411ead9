"""Keeps a webhook out of the keeper's own network unless it is meant to go there.

A name is resolved once, every address it has is judged, and the connection goes to an address that
was judged: a name that answers differently the next time gains nothing by it.
"""

import socket
from collections.abc import Callable
from ipaddress import IPv4Address, IPv6Address, IPv6Network, ip_address

from monitor.errors import DeliveryError

Resolver = Callable[[str, int], list[str]]

_UNICAST = IPv6Network("2000::/3")
_NAT64 = IPv6Network("64:ff9b::/96")


def resolve(host: str, port: int) -> list[str]:
    """Every address of a host, the preferred first.

    Raises:
        DeliveryError: the name is not known, at least not now.
    """
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as exc:
        raise DeliveryError(f"{host}: no address found: {exc}") from exc
    return [str(address[0]) for *_, address in found]


def refuse_private(host: str, addresses: list[str]) -> None:
    """Let only public addresses pass.

    Raises:
        DeliveryError: one of them is not public.
    """
    for address in addresses:
        if not is_public(address):
            raise DeliveryError(
                f"{host} is at {address}, which is no public address; "
                "if it is meant to be there, write allow_private = true"
            )


def is_public(address: str) -> bool:
    """Whether an address is one of the open internet, also when it wraps an IPv4 address."""
    ip = ip_address(address)
    if isinstance(ip, IPv6Address):
        wrapped = _wrapped(ip)
        if wrapped is None and ip not in _UNICAST:
            return False
        ip = wrapped or ip
    return ip.is_global and not ip.is_multicast


def _wrapped(ip: IPv6Address) -> IPv4Address | None:
    if ip in _NAT64:
        return IPv4Address(int(ip) & 0xFFFFFFFF)
    return ip.ipv4_mapped or ip.sixtofour
