"""The year a pipe was laid, by a remark that says so where the inventory has none."""

import re

import numpy as np
import pandas as pd

from culvertrisk.inputs.culvert_notes import Note, note

_LAID = re.compile(
    r"\b(re-?built|re-?laid|re-?placed|re-?newed|new (?:pipe|culvert|barrel)s?"
    r"|(?:pipe|culvert)s? (?:was |were )?(?:new|laid|installed|swapped|changed))\b"
)
# what may be new while the old pipe stays, and what is not done or not dated
_PART = re.compile(
    r"\b(head ?walls?|wing ?walls?|aprons?|ends?|end ?sections?|fes|inlets?|outlets?"
    r"|rip ?rap|stakes?|markers?|posts?|signs?|guard ?rails?|rails?|fences?"
    r"|ditch(?:es)?|roads?|gravel|asphalt|pavement|shoulders?|collars?|bands?|couplings?|grates?"
    r"|(?:trash )?racks?|screens?|bottom|invert|lin(?:er|ers|ing)|banks?|gates?"
    r"|sections?|half|part|partly|joints?|fill|cover|bedding|cable|heater)\b"
)
_NOT_YET = re.compile(
    r"\b(to be|will|would|should|must|needs?|not|never|no|plan(?:s|ned)?|due|budget"
    r"|before|by|until|if|maybe|perhaps|propos(?:ed|al)|schedul\w*|requests?|asked)\b|\?"
)
_YEAR = re.compile(r"(?<!\d)(?:19|20)\d\d(?!\d)")
_CLAUSE = re.compile(
    r"[;.()\n]|,(?!\s*(?:in |summer |spring |fall |autumn )?(?:19|20)\d\d)"
)


def year_of_remark(remark: str) -> float:
    """Return the year in which a remark says that the pipe itself was laid anew.

    Parameters
    ----------
    remark : str
        Free words of the inventory.

    Returns
    -------
    year : float
        NaN where it does not say so clearly: another part is meant, the work is not
        done, or a clause has two years. The latest counts.

    Examples
    --------
    >>> year_of_remark("rebuilt after 2022 washout"), year_of_remark("New pipe, 2019")
    (2022.0, 2019.0)
    >>> year_of_remark("replaced headwall 2020"), year_of_remark("to be replaced 2027")
    (nan, nan)
    """
    found = [
        float(years.pop())
        for clause in _CLAUSE.split(remark.lower())
        if _LAID.search(clause)
        and not _PART.search(clause)
        and not _NOT_YET.search(clause)
        and len(years := {*_YEAR.findall(clause)}) == 1
    ]
    return max(found, default=float("nan"))


def with_remarked_years(
    years: pd.Series, remarks: pd.Series
) -> tuple[pd.Series, list[Note]]:
    """Fill the years that are blank from remarks; a recorded year stands.

    Parameters
    ----------
    years : Series of float
        ``install_year`` as recorded, by row of the file.
    remarks : Series of str
        The remark of each row.

    Returns
    -------
    years : Series of float
        NaN where neither says.
    notes : list
        One for each year taken from a remark, and for each remark of a later year
        than is recorded.
    """
    said = remarks.map({text: year_of_remark(text) for text in remarks.unique()})
    said = said.astype(float)
    notes: list[Note] = []
    for row in years.index[said.notna()]:
        year, own = said[row], years[row]
        if np.isnan(own):
            told = f"install_year {year:.0f}, taken from a remark"
            notes.append(note(row, "note", remarks[row], told, "assumed"))
        elif own < year:
            told = f"install_year {own:.0f} as recorded stands: correct it if it is old"
            notes.append(note(row, "note", remarks[row], told, "assumed"))
    return years.fillna(said), notes
