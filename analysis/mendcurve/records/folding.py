"""How words are compared: case, Unicode spaces, dashes and doubled spaces do not count."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_DASHES = re.compile("[\u2010-\u2015\u2212]")
_QUOTES = re.compile("[\u2018\u2019\u02bc`]")


@lru_cache(maxsize=65536)
def folded(text: str) -> str:
    """Return ``text`` as it is compared: NFKC, lower case, single spaces, plain dashes and quotes, trimmed."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    plain = _QUOTES.sub("'", _DASHES.sub("-", plain)).replace("\u200b", "")
    return " ".join(plain.split())


def heading(text: str) -> str:
    """Return a column heading as it is compared: folded, with underscores, dashes and dots as spaces."""
    return " ".join(re.sub(r"[_\-.]+", " ", folded(text)).split())
