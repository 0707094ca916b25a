"""What a person may call a tree, a hook or a spot: one line, not too long, in any script.

Signs that turn the direction of the text round them are refused: they would scramble the words of ours that a
name stands in (Unicode Standard Annex 9). Right-to-left letters themselves, and emoji, are as good as any.
"""

import unicodedata

LONGEST_NAME = 60

_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


class BadNameError(ValueError):
    """A name that cannot be: the message names the thing, the value and the limit."""


def is_plain(text: str) -> bool:
    """Whether it is one line of plain text.

    >>> is_plain("אנפה 🪶"), is_plain("two\\nlines"), is_plain("a\\u202eb")
    (True, False, False)
    """
    return not any(
        sign in _TURNING or unicodedata.category(sign) in ("Cc", "Cs", "Zl", "Zp") for sign in text
    )


def checked_name(thing: str, text: str, may_be_empty: bool = False) -> str:
    """The name without blanks round it. Raises BadNameError.

    >>> checked_name("the tree's name", " Heron ")
    'Heron'
    >>> checked_name("the tree's name", "x" * 500)
    Traceback (most recent call last):
    ...
    server.plain_names.BadNameError: the tree's name is 500 signs long: it may have up to 60
    """
    name = text.strip()
    if not name and not may_be_empty:
        raise BadNameError(f"{thing} is empty: it needs at least one sign")
    if len(name) > LONGEST_NAME:
        raise BadNameError(f"{thing} is {len(name)} signs long: it may have up to {LONGEST_NAME}")
    if not is_plain(name):
        raise BadNameError(f"{thing} {name!r} must be one line of plain text")
    return name
