"""`command = ["reference-copy"]`: the stage makes a small movie of each reel, its numbers burnt in."""

import sys
from pathlib import Path

from relay.errors import RefusedError
from relay.ledger.job_state import Job
from relay.ledger.state import State
from relay.media.eyes import check_media

_WORDS: dict[str, dict[str, object]] = {
    "one-to-one": {"is_held": False},
    "h264": {"preset": "h264"},
    "prores": {"preset": "prores"},
}


def program(state: State, job: Job, scratch: Path, package: Path, output: Path, words: list[str]) -> list[str]:
    """Write down what is to be burnt in, and return the program that does it.

    `words` may be `one-to-one`, `25` (the movie's speed), `h264` or `prores`. Raises RefusedError.
    """
    check_media()
    from relay.media.copying import Order  # what it needs is installed

    element = state.film().element_of(job.reel)
    if element is None or len(job.inputs) != 1:
        raise RefusedError(f"{job.job} has {len(job.inputs)} inputs: a reference copy is made of one reel's scan")
    how: dict[str, object] = {}
    for word in words:
        how |= {"shown_at": word} if word in {"24", "25"} else _meaning(word)
    order = Order.model_validate(
        {
            "element": element.code,
            "reel": job.reel.partition("/")[2],
            "gauge": element.gauge,
            "rate": str(element.rate()),
            "scan_map": state.versions[job.inputs[0]].scan_map,
            **how,
        }
    )
    slip = scratch / "slip.json"
    slip.write_text(order.model_dump_json(), encoding="utf-8")
    return [sys.executable, "-P", "-m", "relay.media.copying", str(slip), str(package), str(output)]


def _meaning(word: str) -> dict[str, object]:
    try:
        return _WORDS[word]
    except KeyError:
        raise RefusedError(f"{word!r} means nothing to a reference copy: write {', '.join(_WORDS)}, 24 or 25") from None
