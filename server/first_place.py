"""The first place of a shop, named on the way when the first tree is hung."""

import re
import unicodedata

from sensors.topics import check_slug
from server.air_records import UNNAMED_SPEED_M_S
from server.store import places, readings
from server.store.engine import Engine
from server.store.values import Place

USUAL_NAME = "Drying room"


def name_first_place(engine: Engine, name: str) -> str:
    """Name the one place there is; returns its id: that which nodes speak of already, else one of its own.

    Its air is taken as still as that of a place that nobody named, until the shop says how fast it moves.
    Raises KeptOutError for an id that cannot be, RefusedError where it is there already.
    """
    heard = sorted({node.place for node in readings.nodes(engine)})
    place_id = heard[0] if heard else slug(name)
    check_slug("place", place_id)
    places.add_place(engine, Place(place_id, name, UNNAMED_SPEED_M_S))
    return place_id


def slug(name: str) -> str:
    """A name as an id that may stand in a topic.

    >>> slug("Drying room"), slug("Küche 2"), slug("חדר")
    ('drying-room', 'kuche-2', 'place')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:64].rstrip("-") or "place"
