"""Sentences for reasons that people repeat; `=tone` stands for one. A production may add its own. Pure."""

from collections.abc import Mapping

from relay.model import Production

REASONS = {
    "tone": "it has the better tone: more in the shadows and the lights",
    "sharper": "it is the sharper one, nearer to the camera negative",
    "steadier": "it is the steadier one",
    "complete": "it is complete here, where the other lacks frames",
    "tint": "it carries the tinting that the release had",
    "scratches": "the other is scratched through the emulsion here",
    "decay": "the other has decayed here",
    "splice": "the other is spliced here, and lacks frames",
    "only": "no other print has these frames",
    "cut": "it is no part of the film as it was shown",
    "camera": "it was in the camera gate: it belongs to the film",
    "copied": "it was copied from an earlier element and is no part of the film",
}


def reasons_of(production: Production) -> dict[str, str]:
    """Return the sentences by their names: the usual ones, and those in the production's file, which go before."""
    return {**REASONS, **(production.reasons or {})}


def reason_in_full(text: str, reasons: Mapping[str, str]) -> str:
    """Return `text`, or the one of `reasons` that `=tone` stands for. Raises ValueError for one that nobody wrote."""
    if not text.startswith("="):
        return text
    name = text[1:]
    if name not in reasons:
        raise ValueError(f"there is no reason {text!r}: expected a sentence, or one of =" + ", =".join(reasons))
    return reasons[name]
