"""The words that reports share: classes, what scores mean, what the plan is not."""

import math
from datetime import date

CLASSES = ("severe", "high", "some", "low", "not scored")
CLASS_WORDS = {
    "freeze": (
        "very likely frozen",
        "likely frozen",
        "may be frozen",
        "probably open",
        "not scored",
    ),
    "flood": (
        "water over the road expected",
        "water over the road likely",
        "water over the road possible",
        "water over the road unlikely",
        "not scored",
    ),
    "loss": (
        "a great deal to gain by opening it",
        "much to gain by opening it",
        "something to gain by opening it",
        "little to gain by opening it",
        "not scored",
    ),
}
# Person-hours from which a loss avoided counts as severe, high and some: decades,
# so that a class means ten times the one below. A choice of this page, no source.
LOSS_STEPS_PERSON_H = (100.0, 10.0, 1.0)
STATEMENT = (
    "This is an aid made from incomplete records. What is found at the pipe decides.",
    "The person on site may stop or change anything on it at any time.",
    "It does not say that a road is safe to use, or that a pipe is safe to work at.",
    "Nobody enters a pipe.",
    "Pipes that are not listed may be frozen too.",
    "Local rules, licensed practice and the law come first.",
)
NOT_THIS = (
    "It is no flood map and has no meaning for insurance.",
    "It is no inspection: nobody has looked at these pipes for it today.",
    "A low score is no promise. Records are incomplete and weather is local.",
)
_DAYS = "Monday Tuesday Wednesday Thursday Friday Saturday Sunday"
_MONTHS = (
    "January February March April May June July August September October November "
    "December"
)


def class_code(word: object) -> int:
    """Return the place of a class word in ``CLASSES``; unknown words are the last.

    Examples
    --------
    >>> class_code("high"), class_code("")
    (1, 4)
    """
    return CLASSES.index(word) if word in CLASSES else len(CLASSES) - 1


def loss_code(loss_avoided_person_h: float) -> int:
    """Return the class of a loss avoided [person-h]; unknown is the last class.

    Examples
    --------
    >>> loss_code(250.0), loss_code(10.0), loss_code(0.2), loss_code(float("nan"))
    (0, 1, 3, 4)
    """
    if math.isnan(loss_avoided_person_h):
        return len(CLASSES) - 1
    return sum(loss_avoided_person_h < step for step in LOSS_STEPS_PERSON_H)


def day_words(on: date) -> str:
    """Return a date with its weekday, in English whatever the locale.

    Examples
    --------
    >>> day_words(date(2025, 2, 25))
    'Tuesday 25 February 2025'
    """
    days, months = _DAYS.split(), _MONTHS.split()
    return f"{days[on.weekday()]} {on.day} {months[on.month - 1]} {on.year}"


def sentences(text: object) -> list[str]:
    """Split a cell of reasons, joined by ``"; "``, into its sentences.

    Examples
    --------
    >>> sentences("Flat: slope 0.2 %; a seep feeds it")
    ['Flat: slope 0.2 %', 'A seep feeds it']
    >>> sentences("")
    []
    """
    if not isinstance(text, str):
        return []
    parts = [part.strip().rstrip(".") for part in text.replace("\n", " ").split("; ")]
    return [part[0].upper() + part[1:] for part in parts if part]


def rank_words(rank: float, low: float, high: float) -> str:
    """Say a crossing's place in the list and how far the unknowns move it.

    Examples
    --------
    >>> rank_words(4, 4, 4), rank_words(12, 3, 60), rank_words(float("nan"), 1, 1)
    ('Rank 4', 'Rank 12 (3 to 60 as the unknowns fall)', '')
    """
    if not rank > 0:
        return ""
    if not high > low:
        return f"Rank {rank:.0f}"
    return f"Rank {rank:.0f} ({low:.0f} to {high:.0f} as the unknowns fall)"
