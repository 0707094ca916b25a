"""How soon a login may be tried again after wrong passwords: by name and address, and for all together.

A name alone is not slowed down, or a stranger who knows a node's name could keep that node out by guessing.
So the wait grows for a name at one address; and as addresses may be many, all wrong tries share a budget.
"""

import ipaddress
import threading
from collections import OrderedDict
from collections.abc import Callable
from time import monotonic

FREE_TRIES = 3
"""Wrong passwords in a row that cost no wait: assumed, a person mistypes."""

LONGEST_WAIT_S = 60.0

ALL_TRIES = 60
"""Wrong passwords in a row that are heard from all addresses together, before they are heard one by one:
assumed. Two hundred nodes with the right ones cost none of it."""

ALL_EVERY_S = 2.0
"""After these, one more wrong password is heard every so many seconds, from all addresses together [s]."""

MOST_KEPT = 1024
"""Names at addresses that are kept in mind at most; the oldest go first."""

_Who = tuple[str, str]


class LoginPace:
    """Keeps count of wrong passwords, in whatever thread. `seconds` tells a time that only grows [s]."""

    def __init__(self, seconds: Callable[[], float] = monotonic) -> None:
        self._seconds = seconds
        self._wrong: OrderedDict[_Who, tuple[int, float]] = OrderedDict()
        self._been_right: OrderedDict[_Who, None] = OrderedDict()
        self._left = float(ALL_TRIES)
        self._counted_s = seconds()
        self._lock = threading.Lock()

    def may_try(self, name: str, address: str) -> bool:
        """Whether a password for this name, from this address, is to be looked at now.

        Where a name was right before at an address, the tries of others do not count.
        """
        who = _who(name, address)
        with self._lock:
            if self._seconds() < self._wrong.get(who, (0, 0.0))[1]:
                return False
            return who in self._been_right or self._budget() >= 1.0

    def was_wrong(self, name: str, address: str) -> None:
        """A password was looked at, and was wrong."""
        who = _who(name, address)
        with self._lock:
            count = self._wrong.pop(who, (0, 0.0))[0] + 1
            over = count - FREE_TRIES
            wait_s = 0.0 if over < 0 else min(2.0 ** min(over, 10), LONGEST_WAIT_S)
            self._wrong[who] = (count, self._seconds() + wait_s)
            if len(self._wrong) > MOST_KEPT:
                self._wrong.popitem(last=False)
            self._left = max(self._budget() - 1.0, 0.0)

    def was_right(self, name: str, address: str) -> None:
        """A password was looked at, and was right."""
        who = _who(name, address)
        with self._lock:
            self._wrong.pop(who, None)
            self._been_right[who] = None
            self._been_right.move_to_end(who)
            if len(self._been_right) > MOST_KEPT:
                self._been_right.popitem(last=False)

    def _budget(self) -> float:
        now_s = self._seconds()
        self._left = min(self._left + (now_s - self._counted_s) / ALL_EVERY_S, ALL_TRIES)
        self._counted_s = now_s
        return self._left


def _who(name: str, address: str) -> _Who:
    """Name and address; of an IPv6 address the network of 64 bits, all of which one machine may have.

    >>> _who("shop/n1", "2001:db8::1:2") == _who("shop/n1", "2001:db8::3")
    True
    """
    try:
        ip = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return name, address
    if ip.version == 6 and not (ip.is_loopback or ip.is_link_local):
        return name, str(ipaddress.ip_network((ip, 64), strict=False))
    return name, str(ip)
