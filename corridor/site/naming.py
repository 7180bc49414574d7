"""What the name of a file or layer says of its lines."""

import re
from itertools import pairwise

import geopandas as gpd

from corridor.dictionary import UTILITIES
from corridor.site.findings import Findings
from corridor.site.tables import vocabulary, word_key

__all__ = ["name_utility", "utility_in"]

# words of layer names that aren't words of a column (common practice)
_MORE = {
    "elec": "electricity", "hv": "electricity", "lv": "electricity", "mv": "electricity", "ehv": "electricity",
    "telco": "telecommunications", "fibre": "telecommunications", "fiber": "telecommunications",
    "phone": "telecommunications", "fibra": "telecommunications",
    "wat": "water", "potable": "water", "san": "sewer", "foul": "sewer", "ss": "sewer",
    "sd": "storm_drain", "drainage": "storm_drain", "heating": "heat", "lights": "lighting", "lamps": "lighting",
    "lamp": "lighting", "signals": "traffic_signal", "reclaimed": "reclaimed_water", "petroleum": "oil",
    "hydrant": "water", "gaz": "gas", "eau": "water", "wasser": "water", "strom": "electricity", "agua": "water",
}  # fmt: skip


def utility_in(*names: str) -> str | None:
    """Return the utility that a layer's or file's name tells, the first name first; None where none or several do.

    Examples
    --------
    >>> utility_in("WaterMains_2021")
    'water'
    """
    words = {word_key(word): word for word in UTILITIES if word not in ("other", "unknown")}
    words |= {key: meant for key, meant in vocabulary("utility").items() if meant != "unknown"} | _MORE
    for name in names:
        parts = [part.casefold() for part in re.findall(r"[A-Z]?[^\W\d_A-Z]+|[A-Z]+(?![^\W\d_A-Z])", name)]
        tried = [*("_".join(pair) for pair in pairwise(parts)), *parts]
        keys = [key for word in tried for key in (word, word.removesuffix("s")) if key in words]
        found = list(dict.fromkeys(words[key] for key in keys))
        pairs = [words[word] for word in tried if "_" in word and word in words]
        if pairs or len(found) == 1:
            return pairs[0] if pairs else found[0]
    return None


def name_utility(frame: gpd.GeoDataFrame, *, file: str, layer: str, findings: Findings) -> gpd.GeoDataFrame:
    """Return lines with their utility, where none is stated, read from the name of the layer or of the file.

    ``utility_from_name`` tells each line.
    """
    empty = frame["utility"].isna()
    if not empty.any():
        return frame
    utility = utility_in(layer, file)
    if utility is None:
        return frame
    frame = frame.copy()
    told = f"utility is not stated; {utility}, by the name of the layer or file"
    action = "repaired: state utility in the layer's block of a field map"
    findings.add_rows("utility_from_name", frame, told, action=action, at=empty)
    frame["utility"] = frame["utility"].mask(empty, utility)
    return frame
