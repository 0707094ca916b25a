"""Where a client may publish: topic filters, in which `%u` stands for the user name it was let in by."""

from collections.abc import Sequence

USER = "%u"


def matches(topic_filter: str, topic: str) -> bool:
    """Whether a topic is one of a filter's: `+` is any one level, `#` all that follows (MQTT 3.1.1, 4.7).

    A wildcard at the beginning does not reach topics that begin with `$` (4.7.2).

    >>> matches("slowcorner/+/n1/#", "slowcorner/shop/n1/senml")
    True
    >>> matches("slowcorner/+/n1/#", "slowcorner/shop/n2/senml")
    False
    >>> matches("a/#", "a"), matches("a/+", "a"), matches("+", "a/b"), matches("#", "$SYS/a")
    (True, False, False, False)
    """
    wanted, said = topic_filter.split("/"), topic.split("/")
    if topic.startswith("$") and wanted[0] in ("+", "#"):
        return False
    if wanted[-1] == "#":
        wanted = wanted[:-1]
        said = said[: len(wanted)]
    return len(wanted) == len(said) and all(
        one in ("+", level) for one, level in zip(wanted, said, strict=True)
    )


def allows(filters: Sequence[str], user: str, topic: str) -> bool:
    """Whether `user` may publish under `topic`: one of its filters has it.

    A user name that has `/`, `+` or `#` in it fills no `%u`, for it could stand for more than itself.

    >>> allows(["slowcorner/+/%u/senml"], "n1", "slowcorner/shop/n1/senml")
    True
    >>> allows(["slowcorner/+/%u/senml"], "+", "slowcorner/shop/n1/senml")
    False
    """
    plain = not any(mark in user for mark in "/+#")
    return any(matches(one.replace(USER, user), topic) for one in filters if plain or USER not in one)
