"""The words of one message that tells of several things at once."""

from collections.abc import Sequence

from scheduler.causes import CAUSES, Cause
from scheduler.forecast import Notice

NAMED = 4
"""So many names stand in a title; the others are counted."""


def words(notices: Sequence[Notice], after_quiet: bool = False) -> tuple[str, str]:
    """Title and body of one message for several notices; `after_quiet`: it sums up the shop's quiet hours.

    >>> fit = [Notice(name, "fit", 1, "", "", 0, name, "coat 5 of 10") for name in ("Heron", "Teal")]
    >>> words(fit)
    ('2 trees fit to dip: Heron, Teal', 'Heron (coat 5 of 10). Teal (coat 5 of 10).')
    >>> silent = Notice("k", "silent", None, "", "", 0, "cellar/wall", "since 04:10")
    >>> words([*fit, silent], after_quiet=True)
    ('This morning: 2 fit to dip, 1 node silent', 'Fit to dip: Heron (coat 5 of 10), Teal (coat 5 of 10). \
A node is silent: cellar/wall (since 04:10).')
    >>> words([fit[0], silent])[0]
    'Heron fit to dip, 1 node silent'
    """
    told_of = {notice.tree_id for notice in notices if notice.cause != "later"}
    groups = [
        (cause, mine)
        for cause in CAUSES
        if (mine := [one for one in notices if one.cause == cause.code and _said_here(one, told_of)])
    ]
    if len(groups) == 1 and not after_quiet:
        return _of_one_cause(*groups[0])
    title = ", ".join(_counted(cause, mine, by_name=not after_quiet) for cause, mine in groups)
    if after_quiet:
        title = f"This morning: {title}"
    return title, " ".join(f"{cause.name}: {', '.join(map(_named, mine))}." for cause, mine in groups)


def listed(names: Sequence[str], most: int = NAMED) -> str:
    """Names in a row, those beyond `most` counted.

    >>> listed(["Heron", "Teal"]), listed(["Heron", "Teal", "Snipe", "Dunlin", "Avocet", "Bittern"])
    ('Heron, Teal', 'Heron, Teal, Snipe, Dunlin and 2 more')
    """
    # One more name is as short as "and 1 more".
    if len(names) <= most + 1:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more"


def _said_here(notice: Notice, told_of: set[int | None]) -> bool:
    """A tree that was put off and is told of anyway need not be told of twice."""
    return notice.cause != "later" or notice.tree_id not in told_of


def _of_one_cause(cause: Cause, notices: Sequence[Notice]) -> tuple[str, str]:
    if len(notices) == 1:
        return notices[0].title, notices[0].body
    what = f"trees {cause.many}" if cause.of == "trees" else cause.many
    title = f"{len(notices)} {what}: {listed([notice.subject for notice in notices])}"
    return title, " ".join(f"{_named(notice)}." for notice in notices)


def _counted(cause: Cause, notices: Sequence[Notice], by_name: bool) -> str:
    """How many, or which tree it is where it is one."""
    if cause.of == "shop":
        return cause.one
    if len(notices) > 1:
        return f"{len(notices)} {cause.many}"
    return f"{notices[0].subject if by_name and cause.of == 'trees' else 1} {cause.one}"


def _named(notice: Notice) -> str:
    subject = notice.subject or notice.title
    return f"{subject} ({notice.brief})" if notice.brief else subject
