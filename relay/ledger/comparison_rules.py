"""Comparison copies that are asked for, made, or found impossible: words in, state out. Pure."""

from dataclasses import replace
from typing import assert_never

from relay.errors import RefusedError
from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade, ComparisonNotMade, ComparisonWord
from relay.ledger.saying import WORKING, Saying
from relay.ledger.state import AskedComparison, State


def fold_comparison(state: State, word: ComparisonWord, saying: Saying) -> None:
    """Add what is said of a comparison copy to `state`. Raises RefusedError."""
    saying.check_role("speak of comparison copies", *WORKING)
    match word:
        case ComparisonAsked():
            _check_there(state, word)
            asked = AskedComparison(word, saying.by, saying.entry, saying.time)
            state.asked_comparisons = (*state.asked_comparisons, asked)
        case ComparisonMade():
            unknown = [name for name in word.shown if name not in state.versions]
            if unknown:
                raise RefusedError(f"the comparison that entry {word.asked} asks for shows {unknown[0]}: never sent")
            _answer(state, word)
        case ComparisonNotMade():
            _answer(state, word)
        case _:
            assert_never(word)


def _check_there(state: State, word: ComparisonAsked) -> None:
    for name in word.prints:
        if name not in state.versions:
            raise RefusedError(f"there is no version {name}: `relay reel list` shows what was sent")
    codes = {element.code for element in state.film().elements}
    for code in word.elements:
        if code not in codes:
            raise RefusedError(f"the production has no element {code}: `relay production show` lists them")


def _answer(state: State, word: ComparisonMade | ComparisonNotMade) -> None:
    asked = next((each for each in state.asked_comparisons if each.entry == word.asked), None)
    if asked is None:
        raise RefusedError(f"entry {word.asked} asks for no comparison copy: name the entry that does")
    if asked.answer is not None:
        raise RefusedError(f"what entry {word.asked} asks for was answered before: ask anew")
    told = (replace(each, answer=word) if each is asked else each for each in state.asked_comparisons)
    state.asked_comparisons = tuple(told)


def comparisons_owed(state: State) -> list[AskedComparison]:
    """Return what was asked for and nobody answered, oldest first."""
    return [each for each in state.asked_comparisons if each.answer is None]
