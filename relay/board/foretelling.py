"""The page Forecast: the plan as bars and in words, and what would be if; the question stands in the address."""

from typing import Annotated
from urllib.parse import quote_plus

from fastapi import APIRouter, Query, Request
from fastapi.responses import RedirectResponse, Response

from relay.board.desk import Board
from relay.board.door import Asking
from relay.board.pages import PAGE, Start
from relay.board.rows.chart import By, Far, chart_of, differences
from relay.board.rows.foreseen import Foreseen
from relay.board.rows.view import Viewer
from relay.board.supposing import Asked
from relay.board.web import Told, shown
from relay.errors import RefusedError

Text = Annotated[str, Query(max_length=120)]
Suppositions = Annotated[
    tuple[Text, ...],
    Query(alias="if", max_length=12, description="something to suppose, as `relay forecast --what-if` takes it"),
]

router = APIRouter(include_in_schema=False)


@router.get("/forecast")
async def forecast(
    request: Request,
    viewer: Asking,
    supposed: Suppositions = (),
    by: By = "site",
    far: Far = "weeks",
    start: Start = 0,
) -> Response:
    def tell(board: Board, viewer: Viewer) -> Told:
        seen, then, refusal = board.foresight(viewer), None, ""
        try:
            then = board.supposed(viewer, supposed)
        except RefusedError as error:
            refusal = str(error)
        told: Told = {"today": seen.rows, "then": then, "why_not": seen.why_not, "refusal": refusal}
        told |= {"supposed": supposed, "by": by, "far": far, "start": start, "step": PAGE}
        told |= {"ifs": _said(supposed), "without": [_said(_but(supposed, at)) for at in range(len(supposed))]}
        charts = _charts(seen.rows, then, by, far, start) if seen.rows else {}
        return told | charts | {"status": 422 if refusal else 200}

    return await shown(request, viewer, "forecast.html", tell, ahead=not supposed, foresees=True)


def _charts(today: Foreseen, then: Foreseen | None, by: By, far: Far, start: int) -> Told:
    ends = [chart_of(each, by, far).end for each in (today, then) if each is not None]
    drawn: Told = {"chart": chart_of(today, by, far, first=start if by == "reel" else 0, end=max(ends))}
    if then is not None:
        drawn |= {"then_chart": chart_of(then, by, far, end=max(ends)), "differences": differences(today, then)}
    return drawn


def _said(texts: tuple[str, ...]) -> str:
    return "".join(f"&if={quote_plus(text)}" for text in texts)


def _but(texts: tuple[str, ...], at: int) -> tuple[str, ...]:
    return (*texts[:at], *texts[at + 1 :])


@router.get("/forecast/suppose")
def suppose(_viewer: Asking, asked: Annotated[Asked, Query()]) -> Response:
    """Turn what a form says into a question that can be sent on as a link."""
    said = _said((*asked.supposed, asked.text()))
    return RedirectResponse(f"/forecast?by={asked.by}&far={asked.far}{said}#h-then", status_code=303)
