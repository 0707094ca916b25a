"""A committed state as bytes and back, exact to the bit. A cache: throwing one away costs only time."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import astuple
from typing import Any

import numpy as np

from sensors.air import Air
from sensors.bridging import Bridge
from sensors.clock import Millis
from server.drying.ensemble import ALONE, Ensemble
from server.drying.shell import SpotShell
from server.drying.warnings import CoatClimate
from server.tree_record import CoatDip, CoatRecord, Committed, JudgedTree, UnreadableStateError

FORMAT = 9
"""Raised whenever the model or this layout changes: older saved states are then left unread."""


class StaleStateError(UnreadableStateError):
    """A saved state that does not belong to this tree, these dips or this version of the model."""


def state_key(tree: JudgedTree, dips: Sequence[CoatDip], ensemble: Ensemble = ALONE) -> str:
    """What a state depends on besides the air: the tree, the dips up to it, what is believed there.

    Two states with one key and the same air are the same.
    """
    said = [FORMAT, tree.size_mm, [code for code, _ in tree.spots], tree.coats_in_all, tree.rest_ms]
    said += [tree.confidence, tree.pressure_pa, tree.dry_limit, ensemble.key]
    said += [[dip.number, repr(dip.material), dip.at, dip.spot] for dip in dips]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()[:32]


def to_blob(state: Committed) -> bytes:
    """Write a state: a JSON head with exact numbers, then the shells' own bytes."""
    shells = [shell.to_bytes() for shell in state.shells]
    head: dict[str, Any] = {
        "at": state.at,
        "air": None if state.air is None else [x.hex() for x in _air_numbers(state.air)],
        "shells": [len(shell) for shell in shells],
        "curves": [[[at, value] for at, value in curve] for curve in state.curves],
        "bands": state.bands,
        "coats": [
            [
                coat.member_fit_at.tolist(),
                coat.fit_at,
                list(coat.spot_fit_at),
                coat.through_at,
                coat.rested_ms,
                coat.damp_at_next,
                coat.damp_spot,
                list(coat.left_at_next),
                [list(gap) for gap in coat.gaps],
                list(astuple(coat.climate)),
                [list(astuple(bridge)) for bridge in coat.bridges],
                coat.courses,
            ]
            for coat in state.coats
        ],
    }
    text = json.dumps(head).encode()
    return len(text).to_bytes(4, "big") + text + b"".join(shells)


def from_blob(blob: bytes, dips: Sequence[CoatDip]) -> Committed:
    """Read a state written by `to_blob`; raises StaleStateError when it cannot be one."""
    try:
        size = int.from_bytes(blob[:4], "big")
        head = json.loads(blob[4 : 4 + size])
        shells, at = [], 4 + size
        for length in head["shells"]:
            shells.append(SpotShell.from_bytes(blob[at : at + length]))
            at += length
        coats = tuple(
            CoatRecord(
                dip=dip,
                member_fit_at=np.array(member_fit_at, dtype=np.int64),
                fit_at=fit_at,
                spot_fit_at=tuple(spot_fit_at),
                through_at=through_at,
                rested_ms=rested_ms,
                damp_at_next=damp_at_next,
                damp_spot=damp_spot,
                left_at_next=tuple(left_at_next),
                gaps=tuple((start, end) for start, end in gaps),
                climate=CoatClimate(*climate),
                bridges=tuple(Bridge(*bridge) for bridge in bridges),
                courses=tuple(tuple((at, mid, low, high) for at, mid, low, high in one) for one in courses),
            )
            for dip, (
                member_fit_at,
                fit_at,
                spot_fit_at,
                through_at,
                rested_ms,
                damp_at_next,
                damp_spot,
                left_at_next,
                gaps,
                climate,
                bridges,
                courses,
            ) in zip(dips[: len(head["coats"])], head["coats"], strict=True)
        )
        air = None if head["air"] is None else Air(*(float.fromhex(x) for x in head["air"]))
        curves = tuple(tuple((when, value) for when, value in curve) for curve in head["curves"])
        bands = tuple(tuple((when, low, high) for when, low, high in band) for band in head["bands"])
        moment: Millis = head["at"]
        return Committed(moment, tuple(shells), coats, curves, air, bands)
    except (KeyError, TypeError, ValueError, IndexError) as error:
        raise StaleStateError(f"saved state of {len(blob)} bytes cannot be read: {error}") from error


def _air_numbers(air: Air) -> tuple[float, ...]:
    return tuple(float(x) for x in astuple(air))
