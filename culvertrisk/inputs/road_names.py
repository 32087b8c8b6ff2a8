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
    "trail": "trl",
    "court": "ct",
    "place": "pl",
    "boulevard": "blvd",
    "route": "rte",
    "av": "ave",
    "north": "n",
    "south": "s",
    "east": "e",
    "west": "w",
}

# what kind of road it is; crews leave it out or name another. Common practice
_KINDS = frozenset({"rd", "st", "ln", "ave", "dr", "hwy", "trl", "ct", "pl", "blvd"})
_KINDS |= {"way", "cr", "county", "rte"}


def road_words(text: object) -> frozenset[str]:
    """Return the words that tell a road from others, in a name or among other words.

    Examples
    --------
    >>> road_words("Long Sarn RD") <= road_words("long sarn road mile 4.4")
    True
    """
    return frozenset(road_key(text).split()) - _KINDS


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
