"""The register of trees: putting one on the rack, changing what is said of it, and all that happened to
it."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated

from fastapi import APIRouter, Path, Response

from server.api.problems import ProblemError, documented
from server.api.schemas import (
    LARGEST_ID,
    AirShape,
    CoatShape,
    DipShape,
    GapShape,
    RecipeShape,
    SpotShape,
    TreeAnswer,
    TreeChange,
    TreeRequest,
    maybe_datetime,
    to_datetime,
)
from server.dip_desk import known_tree, outlook_of
from server.dry_rules import rest_hours_of
from server.gaps import Gap
from server.parts import Parts
from server.spot_desk import look_at_spots
from server.store import dips as dip_store
from server.store import trees as tree_store
from server.store.engine import UnknownError
from server.store.values import Dip, NewTree, Tree, TreeSpot
from server.verdicts import AirPoint

TreeId = Annotated[int, Path(ge=1, le=LARGEST_ID, description="a tree's id")]


def trees_router(parts: Parts) -> APIRouter:
    """The calls of the register."""
    router = APIRouter(prefix="/api/trees", tags=["trees"])

    @router.post("", status_code=201, responses=documented(409))
    def add_tree(request: TreeRequest, response: Response) -> TreeAnswer:
        """Hang a tree on the rack. Its hook must be free, its place and recipe known."""
        new = NewTree(
            request.label,
            request.hook,
            request.place,
            request.recipe,
            request.size_mm,
            _spots(request.spots),
            request.area_m2,
            request.wax_kg,
        )
        try:
            tree = tree_store.add_tree(parts.engine, new, parts.clock.now(), rest_hours_of(parts.engine))
        except UnknownError as error:
            raise ProblemError(422, str(error), "not-known") from error
        parts.rack.refresh(tree.id)
        response.headers["Location"] = f"/api/trees/{tree.id}"
        return _answer(parts, tree)

    @router.get("/{tree_id}", responses=documented(404))
    def get_tree(tree_id: TreeId) -> TreeAnswer:
        """A tree, on the rack or off it, with its dips."""
        return _answer(parts, known_tree(parts, tree_id))

    @router.patch("/{tree_id}", responses=documented(404, 409))
    def change_tree(tree_id: TreeId, change: TreeChange) -> TreeAnswer:
        """Change what is said of a tree; what is left out stays as it is."""
        was, spots = known_tree(parts, tree_id), None if change.spots is None else _spots(change.spots)
        if spots is not None:
            look_at_spots(parts, was, spots)
        try:
            tree = tree_store.amend_tree(
                parts.engine,
                tree_id,
                now=parts.clock.now(),
                label=change.label,
                hook=change.hook,
                place=change.place,
                size_mm=change.size_mm,
                spots=spots,
                recipe=change.recipe,
            )
        except UnknownError as error:
            raise ProblemError(422, str(error), "not-known") from error
        parts.rack.refresh(tree_id)
        return _answer(parts, tree)

    return router


def dip_shape(dip: Dip) -> DipShape:
    """A dip as it goes over the wire."""
    return DipShape(
        id=dip.id,
        coat=dip.coat,
        at=to_datetime(dip.at),
        said_at=to_datetime(dip.said_at),
        pot=dip.pot,
        prewet=dip.prewet,
        partial=dip.partial,
        note=dip.note,
        undone_at=maybe_datetime(dip.undone_at),
    )


def air_shapes(air: Sequence[AirPoint]) -> list[AirShape]:
    """An air record as it goes over the wire."""
    return [AirShape(time=to_datetime(point.time), temp_c=point.temp_c, rh_pct=point.rh_pct) for point in air]


def gap_shapes(found: Sequence[Gap]) -> list[GapShape]:
    """Gaps as they go over the wire."""
    return [
        GapShape.model_validate({"from": to_datetime(start), "to": to_datetime(end)}) for start, end in found
    ]


def _spots(shapes: Sequence[SpotShape]) -> tuple[TreeSpot, ...]:
    for one, other in pairwise(sorted(shape.code for shape in shapes)):
        if one == other:
            raise ProblemError(422, f"spot {one} is there twice: name it once for both", "spot-twice")
    return tuple(TreeSpot(shape.code, shape.name) for shape in shapes)


def _answer(parts: Parts, tree: Tree) -> TreeAnswer:
    outlook = outlook_of(parts, tree.id)
    return TreeAnswer(
        id=tree.id,
        label=tree.label,
        hook=tree.hook,
        place=tree.place,
        recipe=RecipeShape(
            id=tree.recipe.id,
            name=tree.recipe.name,
            coats=[
                CoatShape(
                    number=coat.number,
                    kind=coat.kind,
                    thickness_mm=coat.thickness_mm,
                    water_kg_m2=coat.water_kg_m2,
                )
                for coat in tree.recipe.coats
            ],
        ),
        size_mm=tree.size_mm,
        area_m2=tree.area_m2,
        wax_kg=tree.wax_kg,
        # Spots were checked on their way in; what is kept goes out as it is.
        spots=[SpotShape.model_construct(code=spot.code, name=spot.name) for spot in tree.spots],
        created_at=to_datetime(tree.created_at),
        left=tree.left,
        state=outlook.state if outlook else None,
        dips=[dip_shape(dip) for dip in dip_store.dips(parts.engine, tree.id)],
    )
