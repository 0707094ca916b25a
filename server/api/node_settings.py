"""How a node is set up, over HTTP: the hook of its load cell, its stated errors, its empty battery."""

from typing import Annotated

from fastapi import APIRouter, Path
from pydantic import BaseModel, Field

from server.api.problems import documented
from server.api.schemas import Wire
from server.node_setup import set_up
from server.parts import Parts
from server.store.nodes import NodeSettings

Name = Annotated[str, Path(min_length=1, max_length=64)]
Hook = Annotated[str | None, Field(max_length=64, description="where its load cell hangs, empty for none")]


class NodeSettingsRequest(Wire):
    """What to set; what is left out stays as it is, null sets the usual value."""

    hook: Hook = None
    temp_error_c: Annotated[float | None, Field(gt=0.0, le=10.0, allow_inf_nan=False)] = None
    rh_error_pct: Annotated[float | None, Field(gt=0.0, le=30.0, allow_inf_nan=False)] = None
    battery_low_v: Annotated[float | None, Field(ge=0.0, le=60.0, allow_inf_nan=False)] = None


class NodeSettingsShape(BaseModel):
    """The settings of a node: errors in K and %RH, the battery in V; null where the usual value holds."""

    place: str
    node: str
    hook: str
    temp_error_c: float | None
    rh_error_pct: float | None
    battery_low_v: float | None


def node_settings_router(parts: Parts) -> APIRouter:
    """The call about a node's settings."""
    router = APIRouter(tags=["air"])

    @router.put("/api/nodes/{place}/{node}", responses=documented(404, 409))
    def put(place: Name, node: Name, request: NodeSettingsRequest) -> NodeSettingsShape:
        """Set a node up that was heard; its load cell's readings are the weighings of what hangs there."""
        kept = set_up(parts, place, node, request.model_dump(exclude_unset=True))
        return _shape(kept)

    return router


def _shape(kept: NodeSettings) -> NodeSettingsShape:
    return NodeSettingsShape(
        place=kept.place,
        node=kept.node,
        hook=kept.hook,
        temp_error_c=kept.temp_error_c,
        rh_error_pct=kept.rh_error_pct,
        battery_low_v=kept.battery_low_v,
    )
