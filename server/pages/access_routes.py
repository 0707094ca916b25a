"""The addresses of pairing, and of devices and programs."""

from pathlib import Path as FilePath
from typing import Annotated, Literal, cast

from fastapi import APIRouter, Form, Path, Query, Request, Response
from fastapi.responses import RedirectResponse

from server.access import Access, NotPairedError, Visitor
from server.api.problems import ProblemError
from server.api.schemas import LARGEST_ID
from server.gate import DEVICES, set_cookie
from server.landing import landing
from server.pages.devices import devices_page
from server.pages.pair import USUAL_NAME, pair_page
from server.pages.phone_trust import ROOT_PATH, phone_trust_page, root_answer
from server.pages.render import show
from server.parts import Parts

RowId = Annotated[int, Path(ge=1, le=LARGEST_ID)]


def access_pages(parts: Parts, access: Access, authority: FilePath | None = None) -> APIRouter:
    """The pages of who is let in, over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get("/pair")
    def pair_form(
        code: Annotated[str, Query(max_length=20)] = "", to: Annotated[str, Query(max_length=20_000)] = ""
    ) -> Response:
        # A look at the address pairs nobody: programs that preview links would use the code up.
        return show(pair_page(code, to=landing(to), is_open=access.is_open()))

    @router.post("/pair")
    def pair(
        request: Request,
        code: Annotated[str, Form(max_length=100)] = "",
        name: Annotated[str, Form(max_length=1000)] = USUAL_NAME,
        to: Annotated[str, Form(max_length=20_000)] = "",
    ) -> Response:
        try:
            cookie = access.pair(code, name)
        except NotPairedError as fault:
            answer = show(pair_page(code, name, str(fault), landing(to)), 429 if fault.wait_s else 422)
            if fault.wait_s:
                answer.headers["Retry-After"] = str(max(round(fault.wait_s), 1))
            return answer
        onwards = RedirectResponse(landing(to), status_code=303)
        set_cookie(request, onwards, cookie)
        return onwards

    @router.get("/phone")
    def phone(request: Request, to: Annotated[str, Query(max_length=20_000)] = "") -> Response:
        address = f"{request.url.scheme}://{request.headers['host']}"
        return show(phone_trust_page(authority, address, to))

    @router.get(ROOT_PATH)
    def root() -> Response:
        return root_answer(authority)

    @router.get(DEVICES)
    def devices(request: Request) -> Response:
        return show(devices_page(parts, access, _visitor(request).device))

    @router.post(DEVICES + "/codes")
    def make_code(request: Request, role: Annotated[Literal["acts", "looks"], Form()]) -> Response:
        code = access.new_code(role)
        base = f"{request.url.scheme}://{request.headers['host']}"
        return show(devices_page(parts, access, _visitor(request).device, code, f"{base}/pair?code={code}"))

    @router.post(DEVICES + "/tokens")
    def make_token(
        request: Request,
        name: Annotated[str, Form(max_length=1000)] = "",
        scope: Annotated[list[str] | None, Form(max_length=10)] = None,
    ) -> Response:
        here = _visitor(request).device
        try:
            token = access.new_token(name, scope or [])
        except ValueError as fault:
            return show(devices_page(parts, access, here, fault=str(fault)), 422)
        return show(devices_page(parts, access, here, token=token))

    @router.post(DEVICES + "/{device_id}/revoke")
    def revoke(device_id: RowId) -> Response:
        if not access.revoke_device(device_id):
            raise ProblemError(404, f"no device {device_id} is paired", "not-known")
        parts.changes.doubt()
        return RedirectResponse(DEVICES, status_code=303)

    @router.post(DEVICES + "/tokens/{token_id}/revoke")
    def revoke_token(token_id: RowId) -> Response:
        if not access.revoke_token(token_id):
            raise ProblemError(404, f"there is no token {token_id}", "not-known")
        parts.changes.doubt()
        return RedirectResponse(DEVICES, status_code=303)

    return router


def _visitor(request: Request) -> Visitor:
    return cast(Visitor, request.state.visitor)
