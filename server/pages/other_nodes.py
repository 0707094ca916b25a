"""Nodes of other makers: which of their topics are read, and how; and trying a mapping on a payload first."""

from collections.abc import Mapping as Words
from dataclasses import dataclass

from sensors.mapping import Field, Format, Mapping, MappingError, TimeField, read_mapped
from sensors.units import UNITS
from server.pages.contexts import Frame
from server.pages.frame import frame, shop_now
from server.pages.wording import clock_words
from server.parts import Parts
from server.store import mappings as mapping_store
from server.store import places as place_store
from server.store.engine import RefusedError
from server.store.mappings import KeptMapping

QUANTITY_WORDS = {
    "temperature": "Temperature",
    "humidity": "Humidity",
    "airspeed": "Air speed",
    "mass": "Load on a hook",
    "surface": "Surface temperature",
    "battery": "Battery",
}
UNIT_WORDS = {
    "Cel": "°C",
    "degF": "°F",
    "K": "K",
    "%RH": "%",
    "/": "a share of 1",
    "%EL": "% of full",
}
TIME_WORDS = (
    ("", "the time it arrives"),
    ("s", "seconds since 1970"),
    ("ms", "milliseconds since 1970"),
    ("text", "date, time and zone"),
)


@dataclass(frozen=True)
class FigureLine:
    """Where one quantity stands, as it was typed. `units` are (code, words, chosen)."""

    name: str
    words: str
    pointer: str
    plain: bool
    units: tuple[tuple[str, str, bool], ...]


@dataclass(frozen=True)
class MappingRow:
    """A mapping in use."""

    id: int
    topic_filter: str
    whose: str
    reads: tuple[str, ...]
    since: str


@dataclass(frozen=True)
class OtherNodesPage:
    """Mappings in use, a form for another, and what trying it came to."""

    frame: Frame
    mappings: tuple[MappingRow, ...]
    fault: str
    open: bool
    topic_filter: str
    place: str
    places: tuple[str, ...]
    node: str
    plain: bool
    lines: tuple[FigureLine, ...]
    times: tuple[tuple[str, str, bool], ...]
    time_pointer: str
    topic: str
    payload: str
    tried: tuple[str, ...]
    kept_out: tuple[str, ...]


def other_nodes_page(parts: Parts, said: Words[str, str] | None = None, fault: str = "") -> OtherNodesPage:
    """The page. `said` is what was typed of a new mapping; it stays, with what was wrong with it."""
    shop = shop_now(parts)
    typed = said or {}
    rows = tuple(
        _row(kept, clock_words(kept.created, shop.now, shop.zone))
        for kept in mapping_store.mappings(parts.engine)
    )
    tried, kept_out = ((), ()) if not typed.get("payload") or fault else _try(parts, typed)
    return OtherNodesPage(
        frame=frame(parts, shop, "Nodes of other makers", "air"),
        mappings=rows,
        fault=fault,
        open=said is not None or not rows,
        topic_filter=typed.get("topic_filter", ""),
        place=typed.get("place", ""),
        places=tuple(place.id for place in place_store.places(parts.engine)),
        node=typed.get("node", ""),
        plain=typed.get("format") == "number",
        lines=tuple(_line(name, typed) for name in QUANTITY_WORDS),
        times=tuple((code, words, typed.get("time_unit", "") == code) for code, words in TIME_WORDS),
        time_pointer=typed.get("time_pointer", ""),
        topic=typed.get("topic", ""),
        payload=typed.get("payload", ""),
        tried=tried,
        kept_out=kept_out,
    )


def use_mapping(parts: Parts, said: Words[str, str]) -> OtherNodesPage | None:
    """Use a mapping from now on, or only try it on a payload; the page where there is something to show."""
    try:
        mapping = mapping_typed(said)
        if "try" in said:
            return other_nodes_page(parts, said)
        mapping_store.add_mapping(parts.engine, mapping, parts.clock.now())
    except (MappingError, RefusedError) as error:
        return other_nodes_page(parts, said, str(error))
    parts.on_mappings()
    return None


def drop_mapping(parts: Parts, mapping_id: int) -> None:
    """Read these payloads no more."""
    mapping_store.remove_mapping(parts.engine, mapping_id, parts.clock.now())
    parts.on_mappings()


def mapping_typed(said: Words[str, str]) -> Mapping:
    """A mapping as it was typed: a quantity whose pointer was left empty is not read.

    Raises MappingError where it cannot be.
    """
    plain = said.get("format") == "number"
    fields = []
    for name in QUANTITY_WORDS:
        pointer, unit = said.get(f"{name}_pointer", "").strip(), said.get(f"{name}_unit", "")
        if plain and said.get("plain_is") == name:
            fields.append(Field(name, "", unit))
        elif not plain and pointer:
            fields.append(Field(name, pointer, unit))
    unit = said.get("time_unit", "")
    time = TimeField(said.get("time_pointer", "").strip(), unit) if unit and not plain else None
    form: Format = "number" if plain else "json"
    words = {key: said.get(key, "").strip() for key in ("topic_filter", "place", "node")}
    return Mapping(words["topic_filter"], words["place"], words["node"], form, tuple(fields), time)


def _try(parts: Parts, said: Words[str, str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    mapping = mapping_typed(said)
    topic = said.get("topic", "").strip() or mapping.topic_filter
    if not mapping.matches(topic):
        return (), (f"The topic {topic} is not one of {mapping.topic_filter}.",)
    read = read_mapped(mapping, topic, said["payload"].encode(), parts.clock.now())
    shop = shop_now(parts)
    return (
        tuple(
            f"{QUANTITY_WORDS[one.name]} {one.value:g} {UNIT_WORDS.get(one.unit, one.unit)} at {one.place}, "
            f"node {one.node}, {clock_words(one.time, shop.now, shop.zone)}"
            for one in read.readings
        ),
        tuple(one.reason for one in read.rejected),
    )


def _line(name: str, typed: Words[str, str]) -> FigureLine:
    chosen = typed.get(f"{name}_unit", "")
    units = tuple((unit, UNIT_WORDS.get(unit, unit), unit == chosen) for unit in UNITS[name])
    return FigureLine(
        name, QUANTITY_WORDS[name], typed.get(f"{name}_pointer", ""), typed.get("plain_is") == name, units
    )


def _row(kept: KeptMapping, since: str) -> MappingRow:
    mapping = kept.mapping
    reads = tuple(
        f"{QUANTITY_WORDS[field.name]} in {UNIT_WORDS.get(field.unit, field.unit)}"
        + (f" at {field.pointer}" if field.pointer else "")
        for field in mapping.fields
    )
    return MappingRow(kept.id, mapping.topic_filter, f"{mapping.place}, node {mapping.node}", reads, since)
