"""What the shop believes before it learns, over HTTP: members, sureness, priors."""

from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, Field

from server.api.problems import ProblemError, documented
from server.api.schemas import Wire
from server.believing import BeliefError, Believed, believed, set_believed
from server.drying.drawing import MOST_MEMBERS
from server.drying.priors import PriorError
from server.parts import Parts

Figures = Annotated[list[float], Field(min_length=3, max_length=3)]


class PriorShape(BaseModel):
    """One prior: half lies below `centre`; of a normal one a tenth beyond `low` and `high` each.

    It may be set within `least` and `most`.
    """

    name: str
    meaning: str
    unit: str
    form: str
    low: float
    centre: float
    high: float
    least: float
    most: float
    source: str


class BeliefsAnswer(BaseModel):
    """What is believed; `confidence` is the share of the members that must call a coat fit."""

    members: int
    ensemble_seed: int
    confidence: float
    priors: list[PriorShape]


class BeliefsRequest(Wire):
    """What is to be changed; null sets it back to what is usual. Priors by name: [low, centre, high]."""

    members: Annotated[int | None, Field(ge=1, le=MOST_MEMBERS)] = None
    ensemble_seed: Annotated[int | None, Field(ge=0, le=2**31)] = None
    confidence: Annotated[float | None, Field(ge=0.5, le=0.99, allow_inf_nan=False)] = None
    priors: Annotated[dict[str, Figures] | None, Field(max_length=50)] = None


def beliefs_router(parts: Parts) -> APIRouter:
    """The calls."""
    router = APIRouter(prefix="/api/beliefs", tags=["shop"])

    @router.get("", responses=documented())
    def read() -> BeliefsAnswer:
        """What is believed before anything was measured, with where each figure comes from."""
        return _answer(believed(parts.engine))

    @router.patch("", responses=documented())
    def change(request: BeliefsRequest) -> BeliefsAnswer:
        """Change some of it; every tree is then judged anew, from its first dip."""
        said: dict[str, Any] = request.model_dump(exclude_unset=True)
        try:
            settings = set_believed(parts.engine, **said)
        except (BeliefError, PriorError) as error:
            raise ProblemError(422, str(error), "belief") from error
        if said:
            parts.rack.believe_anew()
        return _answer(settings)

    return router


def _answer(settings: Believed) -> BeliefsAnswer:
    return BeliefsAnswer(
        members=settings.members,
        ensemble_seed=settings.seed,
        confidence=settings.confidence,
        priors=[
            PriorShape(
                name=prior.name,
                meaning=prior.meaning,
                unit=prior.unit,
                form=prior.form,
                low=prior.low,
                centre=prior.centre,
                high=prior.high,
                least=prior.least,
                most=prior.most,
                source=prior.source,
            )
            for prior in settings.priors
        ],
    )
