"""What makes the page a thing that a phone can keep: its manifest, and the worker that keeps pages for when
there is no connection. Both say nothing of the shop, for a phone asks for them before it is let in."""

from pathlib import Path

from fastapi import APIRouter, Response
from fastapi.responses import FileResponse, JSONResponse

WORKER = Path(__file__).parent / "static" / "sw.js"

MANIFEST = {
    "id": "/",
    "name": "Slowcorner",
    "short_name": "Slowcorner",
    "description": "Which tree to dip next, judged at its slowest corner.",
    "lang": "en",
    "start_url": "/",
    "scope": "/",
    "display": "standalone",
    "background_color": "#faf7f1",
    "theme_color": "#483a2e",
    "icons": [
        {"src": "/static/icon.svg", "sizes": "any", "type": "image/svg+xml"},
        {"src": "/static/icon-192.png", "sizes": "192x192", "type": "image/png"},
        {"src": "/static/icon-512.png", "sizes": "512x512", "type": "image/png"},
        {"src": "/static/icon-512.png", "sizes": "512x512", "type": "image/png", "purpose": "maskable"},
    ],
}
"""A W3C Web Application Manifest. The icon's colour runs to its edge, so that any shape can be cut."""


def phone_files() -> APIRouter:
    """The manifest and the worker, at the root: a worker sees to what lies under its own address."""
    router = APIRouter(include_in_schema=False)

    @router.get("/manifest.webmanifest")
    def manifest() -> Response:
        return JSONResponse(MANIFEST, media_type="application/manifest+json")

    @router.get("/sw.js")
    def worker() -> Response:
        return FileResponse(WORKER, media_type="text/javascript", headers={"Cache-Control": "no-cache"})

    return router
