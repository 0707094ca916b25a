"""Everything a person can be told of: one table, with what each is, and whether it is told by itself."""

from dataclasses import dataclass
from typing import Literal

Subjects = Literal["trees", "nodes", "places", "shop"]


@dataclass(frozen=True)
class Cause:
    """One thing to be told of. `does` says when, in one sentence; `usual` is whether it is told by itself.

    `one` and `many` count it in a message that tells of several things ("1 fit to dip", "4 fit to dip").
    `goes_with` is the cause by which it is switched on and off, "" for its own.
    """

    code: str
    name: str
    does: str
    of: Subjects
    one: str
    many: str
    usual: bool = True
    goes_with: str = ""


CAUSES = (
    Cause(
        "not-fit",
        "Not fit after all",
        "A tree was called fit and, by readings that came late, was not; told at once, once each time.",
        "trees",
        "not fit after all",
        "not fit after all",
        goes_with="fit",
    ),
    Cause(
        "fit",
        "Fit to dip",
        "A tree’s next coat may go on; told once a coat.",
        "trees",
        "fit to dip",
        "fit to dip",
    ),
    Cause(
        "later",
        "Put off",
        "A tree you put off by “Later” was not dipped since; told once.",
        "trees",
        "put off before",
        "put off before",
    ),
    Cause(
        "through",
        "Dry through",
        "A tree is dry through after its last coat, to be checked before burnout; told once.",
        "trees",
        "dry through",
        "dry through",
    ),
    Cause(
        "unsure",
        "Unsure",
        "The air at a tree is not known for longer than the shop allows; at most once a day for a tree.",
        "trees",
        "unsure",
        "unsure",
    ),
    Cause(
        "soon",
        "Fit soon",
        "A tree is expected to be fit within half an hour; told once a coat.",
        "trees",
        "fit soon",
        "fit soon",
        usual=False,
    ),
    Cause(
        "waiting",
        "Waiting too long",
        "A coat has been fit for so long that the tree wants pre-wetting; told once a coat.",
        "trees",
        "to be pre-wetted",
        "to be pre-wetted",
    ),
    Cause(
        "swing",
        "A warm or cold night",
        "The wax of a thin shell is expected to swing tonight; told before closing, once an evening.",
        "trees",
        "in for a swing of its wax tonight",
        "in for a swing of their wax tonight",
    ),
    Cause(
        "last-call",
        "Last call",
        "What can still be dipped before the shop closes; told an hour and a half before, once a day.",
        "shop",
        "last call",
        "last calls",
    ),
    Cause(
        "silent",
        "A node is silent",
        "A node says nothing any more; at most once a day for a node.",
        "nodes",
        "node silent",
        "nodes silent",
    ),
    Cause(
        "fault",
        "A node is not believed",
        "What a node says cannot be right, or disagrees with the others; at most once a day for a node.",
        "nodes",
        "node to look at",
        "nodes to look at",
    ),
    Cause(
        "battery",
        "A battery is low",
        "A node’s battery is empty or soon will be; at most once a week for a node.",
        "nodes",
        "battery low",
        "batteries low",
    ),
    Cause(
        "air",
        "The air has gone bad",
        "For half an hour a place’s air has been outside what the coats that dry there want; once a day.",
        "places",
        "place with bad air",
        "places with bad air",
    ),
    Cause(
        "calibration",
        "Calibration due",
        "A node was calibrated too long ago, or never; told once when it comes due.",
        "nodes",
        "node to calibrate",
        "nodes to calibrate",
    ),
)
"""In the order in which a message that tells of several things names them."""

USUAL = frozenset(cause.code for cause in CAUSES if cause.usual)
"""What is told where the shop has set nothing."""
