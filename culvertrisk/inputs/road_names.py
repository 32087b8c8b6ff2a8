"""Road names spelt so that their usual variants agree."""

import re

SHORT_WORDS = {  # a road's word as many inventories shorten it; common practice
    "road": "rd",
    "street": "st",
    "lane": "ln",
    "avenue": "ave",
    "drive": "dr",
    "highway": "hwy",
    "trunk": "trk",
    "north": "n",
    "south": "s",
    "east": "e",
    "west": "w",
}


def road_key(name: object) -> str:
    """Spell a road name so that its usual variants agree.

    Parameters
    ----------
    name : object
        As a file writes it.

    Returns
    -------
    key : str
        Lower-case words, the usual ones shortened; "" if there are none.

    Examples
    --------
    >>> road_key("Long Sarn RD.") == road_key("long sarn road")
    True
    """
    words = re.findall(r"[a-z0-9]+", str(name).lower())
    return " ".join(SHORT_WORDS.get(word, word) for word in words)
