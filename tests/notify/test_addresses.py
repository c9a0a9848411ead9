"""Where a webhook may go."""

import pytest

from monitor.errors import DeliveryError
from monitor.notify.addresses import is_public, refuse_private, resolve

# Ranges of the IANA special-purpose address registries, with the RFC each is from (RFC numbers
# from memory); the first and last address of a range where its edges matter.
NOT_PUBLIC = [
    "0.0.0.0",  # unspecified; RFC 1122
    "0.1.2.3",
    "10.0.0.0",  # private; RFC 1918
    "10.255.255.255",
    "100.64.0.0",  # carrier-grade NAT; RFC 6598
    "100.127.255.255",
    "127.0.0.1",  # loopback; RFC 1122
    "127.255.255.255",
    "169.254.169.254",  # link-local; RFC 3927
    "172.16.0.0",  # private; RFC 1918
    "172.31.255.255",
    "192.0.2.1",  # documentation; RFC 5737
    "192.168.0.0",  # private; RFC 1918
    "192.168.255.255",
    "198.18.0.1",  # benchmarking; RFC 2544
    "224.0.0.1",  # multicast; RFC 5771
    "239.255.255.255",
    "240.0.0.1",  # reserved; RFC 1112
    "255.255.255.255",  # broadcast; RFC 919
    "::",  # unspecified; RFC 4291
    "::1",  # loopback; RFC 4291
    "::7f00:1",  # IPv4-compatible, 127.0.0.1; RFC 4291
    "::ffff:127.0.0.1",  # IPv4-mapped; RFC 4291
    "::ffff:10.0.0.1",
    "::ffff:100.64.0.1",
    "::ffff:224.0.0.1",
    "64:ff9b::10.0.0.1",  # NAT64; RFC 6052
    "64:ff9b:1::808:808",  # NAT64 of a local network; RFC 8215
    "2001::1",  # Teredo; RFC 4380
    "2001:db8::1",  # documentation; RFC 3849
    "2002:a00:1::",  # 6to4 of 10.0.0.1; RFC 3056
    "fc00::1",  # unique local; RFC 4193
    "fdff::1",
    "fe80::1",  # link-local; RFC 4291
    "fe80::1%eth0",
    "febf::1",
    "fec0::1",  # site-local; RFC 3879
    "ff02::1",  # multicast; RFC 4291
    "ff0e::1",
]
PUBLIC = [
    "9.255.255.255",  # the neighbours of the ranges above
    "11.0.0.0",
    "100.63.255.255",
    "100.128.0.0",
    "126.255.255.255",
    "128.0.0.1",
    "169.253.255.255",
    "172.15.255.255",
    "172.32.0.0",
    "192.167.255.255",
    "223.255.255.255",
    "2600::1",
    "::ffff:11.0.0.1",
    "64:ff9b::11.0.0.1",
    "2002:b00:1::",
]


@pytest.mark.parametrize("address", NOT_PUBLIC)
def test_addresses_of_ones_own_network_are_refused(address: str) -> None:
    """Nothing that leads back to this machine or its network passes, however it is wrapped."""
    assert not is_public(address)
    with pytest.raises(DeliveryError, match=r"is no public address; .* write allow_private = true"):
        refuse_private("hooks.example", [address])


@pytest.mark.parametrize("address", PUBLIC)
def test_addresses_of_the_open_internet_pass(address: str) -> None:
    """The guard does not take more than it must."""
    assert is_public(address)
    refuse_private("hooks.example", [address])


def test_one_bad_address_spoils_all() -> None:
    """A name that is in both worlds is refused: which one is reached is up to chance."""
    with pytest.raises(DeliveryError, match=r"hooks.example is at 10\.0\.0\.1"):
        refuse_private("hooks.example", ["11.0.0.1", "10.0.0.1"])


@pytest.mark.parametrize("host", ["127.0.0.1", "127.1", "2130706433", "0x7f.1", "localhost", "::1"])
def test_other_spellings_of_this_machine_are_seen_through(host: str) -> None:
    """What is judged is the address that the system makes of a name, not the name."""
    addresses = resolve(host, 80)

    assert addresses
    assert not any(is_public(address) for address in addresses)


@pytest.mark.parametrize("host", ["no-such-host.invalid", "a" * 70 + ".example"])
def test_an_unknown_name_may_be_known_later(host: str) -> None:
    """A name server that is away must not cost an alarm: it is tried again (RFC 6761: .invalid)."""
    with pytest.raises(DeliveryError, match=f"{host}: no address found") as failure:
        resolve(host, 80)

    assert failure.value.retry
