"""Which hooks to offer for the next tree: those that became free, then the next of each row of hooks."""

import re
from collections.abc import Iterable, Sequence

from server.store.hung import Hook

FIRST_EVER = "A1"


def free_hooks(used: Sequence[Hook], most: int = 4) -> tuple[str, ...]:
    """At most so many hooks where nothing hangs, in the order of their names.

    >>> free_hooks([Hook("B2", True), Hook("A3", True), Hook("A1", True), Hook("A2", False)])
    ('A2', 'A4', 'B3')
    >>> free_hooks([Hook("by the door", True)]), free_hooks([])
    ((), ('A1',))
    """
    if not used:
        return (FIRST_EVER,)
    taken = {hook.name.casefold() for hook in used if hook.taken}
    freed = [hook.name for hook in used if hook.name.casefold() not in taken]
    offered = sorted(freed, key=natural)[:most]
    known = taken | {name.casefold() for name in freed}
    for name in _next_of_rows(hook.name for hook in used):
        if name.casefold() not in known:
            offered.append(name)
    return tuple(sorted(dict.fromkeys(offered), key=natural)[:most])


def natural(name: str) -> tuple[tuple[int, str], ...]:
    """A key by which A10 comes after A9.

    >>> sorted(["A10", "B1", "A9"], key=natural)
    ['A9', 'A10', 'B1']
    """
    parts = re.findall(r"\d+|\D+", name)
    return tuple((int(part), "") if part.isdecimal() else (0, part.casefold()) for part in parts)


def _next_of_rows(names: Iterable[str]) -> list[str]:
    """After the last hook of each row, the one whose number follows; the row used last comes first."""
    last: dict[str, int] = {}
    for name in names:
        found = re.fullmatch(r"(.*?)([0-9]{1,6})", name)
        if found:
            last[found[1]] = max(last.get(found[1], 0), int(found[2]))
    return [f"{row}{number + 1}" for row, number in last.items()]
