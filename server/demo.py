"""The demo's made-up shop: its places, its trees, and what was dipped before the page opens."""

from dataclasses import dataclass

from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis
from server.store import dips, places, recipes, shop, trees
from server.store.engine import Engine
from server.store.values import NewDip, NewTree, Place, TreeSpot
from server.telling import set_telling

MORNING_MS = 6 * HOUR_MS
"""Shop time of the day at which the demo begins [ms after midnight, UTC]."""

PAST_MS = 3 * DAY_MS
"""How much of the past the nodes tell before they go live [ms]."""

SHOP_NAME = "Reedmere Foundry"

QUIET = ("22:00", "05:30")
"""The quiet hours of the demo: its first morning begins after them."""

DRYING_ROOM = Place("drying-room", "Drying room", speed_m_s=0.6)
CELLAR = Place("cellar", "Cellar", speed_m_s=0.2)


@dataclass(frozen=True)
class DemoTree:
    """A tree of the demo; `dipped_hours`: how long before the demo's first morning each coat went on [h]."""

    label: str
    hook: str
    place: str
    size_mm: float
    spots: tuple[tuple[str, str], ...]
    dipped_hours: tuple[float, ...]


DEMO_TREES = (
    DemoTree(
        "Heron",
        "A1",
        "drying-room",
        30.0,
        (("face", "body"), ("joint:40", "vent joint"), ("joint:75", "gate joint")),
        (57.0, 46.0, 32.0, 12.0),
    ),
    DemoTree(
        "Bittern",
        "A2",
        "drying-room",
        40.0,
        (("face", "breast"), ("joint:60", "vent joint")),
        (40.0, 26.0, 8.0),
    ),
    DemoTree(
        "Snipe",
        "A3",
        "drying-room",
        20.0,
        (("face", "back"), ("pocket:14x18", "beak pocket")),
        (30.0, 9.0),
    ),
    DemoTree(
        "Avocet",
        "B1",
        "cellar",
        30.0,
        (("face", "wing"), ("joint:70", "gate joint"), ("cavity:40x0.02,blown", "hollow body")),
        (31.0, 13.0),
    ),
    DemoTree(
        "Dunlin",
        "B2",
        "cellar",
        25.0,
        (("face", "body"), ("joint:90", "vent joint")),
        (),
    ),
    DemoTree(
        "Teal",
        "A4",
        "drying-room",
        20.0,
        (("face", "body"), ("joint:100", "vent joint")),
        (70.0, 65.5, 60.5, 54.0, 46.0, 39.0, 31.5, 22.0, 15.0, 6.0),
    ),
)


def first_morning(wall: Millis) -> Millis:
    """Shop time at which a demo begun at that wall time begins [ms]: the morning of the same day, UTC."""
    return wall // DAY_MS * DAY_MS + MORNING_MS


def weather_begins(engine: Engine, now: Millis) -> Millis:
    """The midnight at which the fortnight of weather begins in this shop [ms], the same at every start.

    On the first start it is put far enough back that all of the past has weather of its own.
    """
    kept = shop.setting(engine, "weather_begins")
    if kept is None:
        kept = (now - PAST_MS) // DAY_MS * DAY_MS
        shop.set_setting(engine, "weather_begins", kept)
    return int(kept)


def furnish(engine: Engine, now: Millis) -> bool:
    """Put the made-up shop into an empty store; False where there are trees already."""
    if trees.rack(engine) or places.places(engine):
        return False
    for place in (DRYING_ROOM, CELLAR):
        places.add_place(engine, place)
    shop.set_setting(engine, "shop_name", SHOP_NAME)
    set_telling(engine, *QUIET)
    recipe = recipes.ensure_default(engine)
    for demo in DEMO_TREES:
        tree = trees.add_tree(
            engine,
            NewTree(
                label=demo.label,
                hook=demo.hook,
                place=demo.place,
                recipe_id=recipe.id,
                size_mm=demo.size_mm,
                spots=tuple(TreeSpot(code, name) for code, name in demo.spots),
            ),
            now - PAST_MS,
        )
        for hours in demo.dipped_hours:
            at = now - round(hours * 60) * MINUTE_MS
            dips.add_dip(engine, NewDip(tree.id, at, said_at=at))
    return True
