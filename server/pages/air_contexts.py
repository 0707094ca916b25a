"""What the page of the air says, as values; see `contexts` for the others."""

from dataclasses import dataclass

from markupsafe import Markup

from server.pages.contexts import Frame


@dataclass(frozen=True)
class PlaceView:
    """The air of a place: as it is now, as a chart, and what is the matter with its record."""

    name: str
    temp: str
    humidity: str
    dew: str
    rate: str
    as_of: str
    speed: str
    chart: Markup
    gaps: tuple[str, ...]


@dataclass(frozen=True)
class NodeLine:
    """A sensor node: its state in a word, its last word, and what is the matter with it.

    `calibrate` is where it is calibrated; `calibrated` says when it last was. `set_hook` is where the hook of
    its load cell is set, empty where it weighs nothing; `hook` is the one that is set.
    """

    node: str
    place: str
    status: str
    heard: str
    said: str
    faults: tuple[str, ...]
    calibrate: str
    calibrated: str
    set_hook: str
    hook: str


@dataclass(frozen=True)
class KeptOutRow:
    """A payload that was kept out."""

    source: str
    reason: str
    when: str
    payload: str


@dataclass(frozen=True)
class PlaceForm:
    """Names a place. `heard` are places that nodes speak of and that have no name yet."""

    fault: str
    heard: tuple[str, ...]
    id: str
    name: str
    speeds: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class AirPage:
    """The air of the shop, the nodes that tell it, and what they said that could not be taken.

    `spans` are how much may be shown: (address, words, whether it is what is shown).
    """

    frame: Frame
    spans: tuple[tuple[str, str, bool], ...]
    places: tuple[PlaceView, ...]
    nodes: tuple[NodeLine, ...]
    kept_out: tuple[KeptOutRow, ...]
    kept_out_words: str
    place_form: PlaceForm
