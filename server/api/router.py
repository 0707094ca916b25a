"""All calls of the contract that are there now, as one router."""

from fastapi import APIRouter

from server.api.air import air_router
from server.api.beliefs import beliefs_router
from server.api.burnout import burnout_router
from server.api.calibrations import calibrations_router
from server.api.dips import dips_router
from server.api.history import history_router
from server.api.joint_hint import joint_hint_router
from server.api.mappings import mappings_router
from server.api.measurements import learning_router, measurements_router
from server.api.node_settings import node_settings_router
from server.api.notes import notes_router
from server.api.plan import plan_router
from server.api.push import push_router
from server.api.rack import rack_router
from server.api.service import service_router
from server.api.told import told_router
from server.api.trees import trees_router
from server.api.what_if import what_if_router
from server.parts import Parts


def api_router(parts: Parts) -> APIRouter:
    """The HTTP API over these parts."""
    router = APIRouter()
    for part in (
        rack_router,
        plan_router,
        trees_router,
        history_router,
        burnout_router,
        what_if_router,
        joint_hint_router,
        dips_router,
        measurements_router,
        notes_router,
        learning_router,
        air_router,
        calibrations_router,
        node_settings_router,
        mappings_router,
        beliefs_router,
        told_router,
        push_router,
        service_router,
    ):
        router.include_router(part(parts))
    return router
