"""What the page of the rack is given."""

from dataclasses import dataclass

from markupsafe import Markup

from server.pages.contexts import Frame, When


@dataclass(frozen=True)
class RackRow:
    """One tree on the rack. `where` is its hook, and its place where that is not plain."""

    href: str
    label: str
    where: str
    coat: str
    following: str
    mark: Markup
    state: str
    state_code: str
    when: When
    slowest: str
    picture: Markup


@dataclass(frozen=True)
class RackGroup:
    """Trees in a row; `words` say that they come fit together, and are empty where they do not."""

    words: str
    rows: tuple[RackRow, ...]


@dataclass(frozen=True)
class RackSection:
    """The trees of one state, after the one that is next. `id` is the section's place in the page."""

    id: str
    title: str
    groups: tuple[RackGroup, ...]


@dataclass(frozen=True)
class RackLink:
    """A way on from the rack; `here`: it is what is shown."""

    href: str
    words: str
    here: bool = False


@dataclass(frozen=True)
class RackPage:
    """The rack, the next to dip first.

    `size` is "alone", "few" or "many", by which the page is laid out. `places` are the ways to see one place
    alone, `jumps` the ways down a long page. `empty` says why no tree is shown; `begin` are the first things
    to do in a shop where nothing hangs. `more` are what can be done next.
    """

    frame: Frame
    size: str
    places: tuple[RackLink, ...]
    empty: str
    begin: tuple[RackLink, ...]
    first: RackRow | None
    jumps: tuple[RackLink, ...]
    sections: tuple[RackSection, ...]
    more: tuple[RackLink, ...]
