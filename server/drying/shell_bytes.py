"""A shell as bytes and back, exact to the bit: a head in JSON, then its figures as they are."""

import json
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from server.drying.build import build
from server.drying.materials import CENTRE, CoatMaterial, Members, coat_kind
from server.drying.medium import Wetness
from server.drying.spots import parse_spot

if TYPE_CHECKING:
    from server.drying.shell import SpotShell

Floats = NDArray[np.float64]

MODEL = 6
"""Raised whenever the model's numbers or this layout change: what was saved before is then left unread."""

_STEPS = ("age_s", "rh_pct", "size_m", "fillet_m")


class ShellBytesError(ValueError):
    """Bytes that are no shell, or one of another version of the model."""


def write(shell: "SpotShell") -> bytes:
    """The shell as bytes."""
    arrays = [getattr(shell.members, item.name) for item in fields(Members)]
    arrays += [shell.cooling, shell.brought]
    if shell.wetness is not None:
        wet = shell.wetness
        arrays += [wet.saturation, wet.surface, wet.temp_c, wet.evaporated]
    head: dict[str, Any] = {
        "model": MODEL,
        "spot": shell.spot.code,
        "coats": [asdict(coat) for coat in shell.coats],
        "aired": shell.aired,
        "step_s": None if shell.wetness is None else shell.wetness.step_s,
        "shapes": [list(array.shape) for array in arrays],
        **{name: getattr(shell, name) for name in _STEPS},
    }
    text = json.dumps(head).encode()
    data = b"".join(np.ascontiguousarray(array, dtype="<f8").tobytes() for array in arrays)
    return len(text).to_bytes(4, "big") + text + data


def read(kind: "type[SpotShell]", data: bytes) -> "SpotShell":
    """The shell that `write` wrote."""
    try:
        size = int.from_bytes(data[:4], "big")
        head = json.loads(data[4 : 4 + size])
        if head["model"] != MODEL:
            raise ShellBytesError(f"shell of model {head['model']}, not {MODEL}")
        figures = np.frombuffer(data[4 + size :], dtype="<f8").astype(np.float64)
        arrays, at = [], 0
        for shape in head["shapes"]:
            count = int(np.prod(shape))
            arrays.append(figures[at : at + count].reshape(shape).copy())
            at += count
        if at != figures.size:
            raise ShellBytesError(f"shell of {figures.size} figures where its head says {at}")
        named = len(fields(Members))
        members = _known(Members(*arrays[:named]))
        coats = tuple(CoatMaterial(**{**coat, "kind": coat_kind(coat["kind"])}) for coat in head["coats"])
        spot = parse_spot(head["spot"])
        wetness, built = None, None
        if head["step_s"] is not None:
            saturation, surface, temp, evaporated = arrays[named + 2 :]
            wetness = Wetness(saturation, surface, temp, evaporated, head["step_s"])
            built = build(spot, head["fillet_m"], members, coats)
            if saturation.shape != built.solver.medium.capacity.shape:
                raise ShellBytesError(
                    f"shell of {saturation.shape} cells where its coats have another number"
                )
        return kind(
            spot=spot,
            members=members,
            coats=coats,
            wetness=wetness,
            aired=head["aired"],
            cooling=arrays[named],
            brought=arrays[named + 1],
            built=built,
            **{name: head[name] for name in _STEPS},
        )
    except ShellBytesError:
        raise
    except (KeyError, TypeError, IndexError, ValueError) as error:
        raise ShellBytesError(f"{len(data)} bytes are no shell: {error}") from error


def _known(members: Members) -> Members:
    """The centre itself where these members are it."""
    same = all(
        np.array_equal(getattr(members, item.name), getattr(CENTRE, item.name)) for item in fields(Members)
    )
    return CENTRE if same else members
