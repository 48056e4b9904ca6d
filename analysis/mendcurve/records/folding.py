"""How words are compared: case, Unicode spaces, dashes, doubled spaces and what is invisible do not count."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_DASHES = re.compile("[\u2010-\u2015\u2212]")
# Characters nobody sees: soft hyphens, joiners, marks of direction, a byte-order mark inside the text.
INVISIBLE = "\u00ad\u200b-\u200f\u202a-\u202e\u2060-\u2064\ufeff"
_INVISIBLE = re.compile(f"[{INVISIBLE}]")
_QUOTES = re.compile("[\u2018\u2019\u02bc`]")


@lru_cache(maxsize=65536)
def folded(text: str) -> str:
    """Return ``text`` as it is compared: NFKC, lower case, single spaces, plain dashes and quotes, trimmed.

    Characters nobody sees are left out.
    """
    plain = _INVISIBLE.sub("", unicodedata.normalize("NFKC", text).casefold())
    plain = _QUOTES.sub("'", _DASHES.sub("-", plain))
    return " ".join(plain.split())


def heading(text: str) -> str:
    """Return a column heading as it is compared: folded, with underscores, dashes and dots as spaces."""
    return " ".join(re.sub(r"[_\-.]+", " ", folded(text)).split())
