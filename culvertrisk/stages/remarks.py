"""What free remarks say of water and ice, and what they deny."""

import re
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from culvertrisk.tables import table

Floats = NDArray[np.float64]

_CLAUSE = re.compile(r"[.,;:!?()\n]|\bbut\b|\band\b", re.IGNORECASE)


def read_remarks(remarks: Sequence[str]) -> dict[str, tuple[Floats, Floats]]:
    """Tell which remarks say yes to what the model asks, and which say no.

    Parameters
    ----------
    remarks : sequence of str
        One text a crossing, "" for none.

    Returns
    -------
    said_and_denied : dict
        By what the ``freeze_words`` table speaks of (``seep``, ``pond``, ...) two
        arrays of 0 and 1: said, and denied by all that mention it.

    Notes
    -----
    A remark is read clause by clause; "and", "but" and every stop end one. A word
    is denied after no, not, never, without, none, nor in its clause, and where
    stopped, drained, fixed or gone follows, in its clause or first in the next, unless
    that is denied itself ("not drained"). One clear yes in a text outweighs every no.

    Examples
    --------
    >>> said, denied = read_remarks(["seep", "dry, no icing seen", ""])["seep"]
    >>> said.tolist(), denied.tolist()
    ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0])
    """
    words = table("freeze_words").groupby("what")["word"].agg(tuple)
    asked = {str(what): _either(spellings) for what, spellings in words.items()}
    denials = table("denial_words").groupby("place")["word"].agg(tuple)
    before, after = _denier(denials["before"]), _either(denials["after"])
    codes, texts = pd.factorize(np.asarray(remarks, dtype=object))
    found = {}
    for what, word in asked.items():
        told = np.array([_told(str(t), word, before, after) for t in texts], float)
        whole = told.reshape(-1, 2)[codes]
        found[what] = whole[:, 0], whole[:, 1]
    return found


def _either(words: Sequence[str]) -> re.Pattern[str]:
    whole = "|".join(re.escape(word) for word in words)
    return re.compile(rf"\b(?:{whole})\b", re.IGNORECASE)


def _denier(words: Sequence[str]) -> re.Pattern[str]:
    """The same, or a verb's own ("isn't"), but not "no 12", which is a number."""
    whole = "|".join(re.escape(word) for word in words)
    return re.compile(rf"(?:\b(?:{whole})\b(?!\s*#?\d)|n['’]t\b)", re.IGNORECASE)


def _told(
    text: str, word: re.Pattern[str], before: re.Pattern[str], after: re.Pattern[str]
) -> tuple[bool, bool]:
    """Whether a text says a word, and whether it only denies it."""
    if not word.search(text):
        return False, False
    clauses, said = [part.strip() for part in _CLAUSE.split(text)], False
    for clause, following in zip(clauses, [*clauses[1:], ""], strict=True):
        for hit in word.finditer(clause):
            is_denied = bool(before.search(clause, 0, hit.start()))
            end = after.search(clause, hit.end())
            if end:
                is_denied |= not before.search(clause, hit.end(), end.start())
            said |= not (is_denied or after.match(following))
    return said, not said
