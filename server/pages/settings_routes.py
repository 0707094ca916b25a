"""The addresses of the settings and of the recipes."""

import asyncio
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from server.api.schemas import Slug
from server.pages.recipes import RecipeForm, recipes_page, write_recipe
from server.pages.render import show
from server.pages.settings import FASTEST_M_S, SLOWEST_M_S, set_place, set_settings, settings_page
from server.pages.typed import typed
from server.parts import Parts

SETTINGS_ADDRESS = "/shop/settings"
RECIPES_ADDRESS = "/shop/recipes"


def settings_pages(parts: Parts) -> APIRouter:
    """The pages of settings and recipes over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get(SETTINGS_ADDRESS)
    def settings() -> Response:
        return show(settings_page(parts))

    @router.post(SETTINGS_ADDRESS)
    async def change(request: Request) -> Response:
        said = await typed(request, 100)
        fault = await asyncio.to_thread(set_settings, parts, said)
        return show(fault, 422) if fault else RedirectResponse(SETTINGS_ADDRESS, status_code=303)

    @router.post(SETTINGS_ADDRESS + "/places")
    def place(
        place: Annotated[Slug, Form()],
        speed_m_s: Annotated[float, Form(ge=SLOWEST_M_S, le=FASTEST_M_S)],
    ) -> Response:
        fault = set_place(parts, place, speed_m_s)
        return show(fault, 422) if fault else RedirectResponse(SETTINGS_ADDRESS, status_code=303)

    @router.get(RECIPES_ADDRESS)
    def recipes() -> Response:
        return show(recipes_page(parts))

    @router.post(RECIPES_ADDRESS)
    async def write(request: Request) -> Response:
        form = RecipeForm.of(await typed(request, 40))
        fault = await asyncio.to_thread(write_recipe, parts, form)
        return show(fault, 422) if fault else RedirectResponse(RECIPES_ADDRESS, status_code=303)

    return router
