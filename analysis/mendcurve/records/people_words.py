"""What details of people look like in text: addresses, telephone numbers, names. Patterns from memory, no source."""

from __future__ import annotations

import re
from functools import cache
from importlib import resources

from mendcurve.records.folding import folded
from mendcurve.records.species import reference

# One character for one, so that places in the text stay the same.
_PLAIN = str.maketrans(
    {
        **dict.fromkeys("\u00a0\u2007\u2009\u202f", " "),
        **dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212", "-"),
        **{chr(0xFF10 + n): str(n) for n in range(10)},
        "\uff20": "@",
        "\uff0b": "+",
    }
)
_DOMAIN = r"(?:com|org|net|info|eu|uk|ie|de|at|ch|fr|be|nl|es|it|pt|pl|dk|se|no|fi|us|ca|au|nz|example|test)"
EMAIL = re.compile(
    r"(?<![\w.+%-])[\w.+%-]+\s*@\s*[\w-]+(?:\s?\.\s?[\w-]+)+"
    rf"|(?<![\w.+-])[\w.+-]+\s*[\[({{]\s*at\s*[\])}}]\s*[\w-]+(?:\s*(?:\.|[\[({{]\s*dot\s*[\])}}])\s*[\w-]+)+"
    rf"|\b[\w.+-]+ at [\w-]+ dot {_DOMAIN}\b",
    re.I,
)
_BETWEEN = r"[ ./-]{1,3}"
_PHONES = (
    r"\+\d[\d ()./-]{6,}\d",  # +44 (0)161 496 0123
    rf"\(0?\d{{2,5}}\)[ -]?\d{{2,8}}(?:{_BETWEEN}\d{{2,6}}){{0,4}}",  # (555) 555-0142
    rf"00?\d{{1,5}}(?:\(0\))?(?:{_BETWEEN}\d{{2,8}}){{1,5}}",  # 0161 496 0123, 06 12 34 56 78, 030/12345678
    rf"(?:1{_BETWEEN})?[2-9]\d\d{_BETWEEN}\d{{3}}{_BETWEEN}\d{{4}}",  # 555 555 0142
    r"[2-9]\d\d[-.]\d{4}(?!\s?(?:k?g|oz|lbs?|mm|cm|ml|days?|hours?)\b)",  # 555-0142, no range of weights
    r"\d{9,13}",
)
PHONE = re.compile(rf"(?<![\w.,/-])(?:{'|'.join(_PHONES)})(?![\w,])")
# A number in groups that a word before it calls a telephone number.
_CALL = (
    r"(?:tel|telephone|phone|ph|mobile|mob|cell|call|ring|text|whatsapp|telefon|handy|t[ée]l[ée]phone|t[ée]l|m[óo]vil|"
    r"tlf|tfno)"
)
CALLED = re.compile(rf"\b{_CALL}\b\W{{0,3}}(?:\w+\W{{1,3}}){{0,3}}?(\d[\d ()./-]{{5,}}\d)", re.I)
# A long number of a chip or tag is an animal's.
CHIP = re.compile(r"\b(?:chip|microchip|pit|tag|ring no|id|ref|band)\w*\W{0,3}(?:no\W{0,2}|number\W{0,2})?$", re.I)
DATE_LIKE = re.compile(
    r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}(?:[T ]+\d{1,2}:\d{2}(?::\d{2})?)?|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})(?!\d)"
)
_CAPITAL = r"(?:[A-Z\d][\w'.-]*\s+)"
_STRONG = r"street|avenue|road|lane|drive|boulevard|crescent|terrace|close"
_WEAK = (
    r"Street|St|Avenue|Ave|Road|Rd|Lane|Ln|Drive|Dr|Close|Court|Ct|Boulevard|Blvd|Crescent|Cres|Terrace|Gardens|Gdns|"
    r"Way|Square|Sq|Grove|Hill|Place|Pl|Mews|Row|Walk|Park|Parkway|Pkwy|Highway|Hwy|Circle|Cir|Trail|Trl|View"
)
_STOP = r"(?:on|the|by|in|of|at|to|from|near|off|and|a|an|its|for|with|main|crossing|along|across|per|times?)"
STREETS = (
    re.compile(
        rf"(?:\b(?:Flat|Apt|Unit|Suite|House)\.?\s*\w{{1,4}},?\s+)?\b\d{{1,5}}[A-Za-z]?,?\s+{_CAPITAL}{{1,4}}(?:{_WEAK})\b\.?"
    ),
    re.compile(rf"\b\d{{1,4}}[a-z]?,?\s+(?:(?!{_STOP}\s|\w+ing\s)[a-z'-]+\s+){{1,2}}(?:{_STRONG})\b", re.I),
    re.compile(r"\bP\.?\s?O\.?\s+Box\s+\d+|\b(?:Postfach|Bo[iî]te postale|Apartado(?: de Correos)?)\s+\d+", re.I),
    # Musterstraße 12, Kerkweg 3, Storgatan 5
    re.compile(
        r"\b[A-ZÄÖÜÅÆØ][\w-]*(?:stra(?:ss|ß)e|str\.|weg|gasse|platz|allee|ufer|straat|laan|plein|gracht|dijk|gatan|vägen|gade|vej|veien)"
        r"\s*\d{1,4}\s?[a-z]?\b",
        re.I,
    ),
    # 12 bis, rue de la Paix; Calle Mayor, 5; Via Roma 12; ul. Długa 5
    re.compile(
        r"\b\d{1,4}(?:\s?(?:bis|ter))?,?\s+(?:rue|avenue|av\.|boulevard|bd\.?|place|chemin|impasse|all[ée]e|quai|route)\s+"
        r"(?:d[eu]s?\s+|de\s+la\s+|l'|la\s+|d')?[\w'-]+",
        re.I,
    ),
    re.compile(
        r"(?:\b(?:Calle|Avenida|Avda\.?|Plaza|Paseo|Camino|Via|Viale|Corso|Piazza|Rua|Travessa|ul\.|al\.|os\.)|\bC/)\s*"
        r"(?:[\w'.-]+,?\s+){1,4}(?:n[.ºo°]*\s*)?\d{1,4}\b",
        re.I,
    ),
)
_STATES = (
    r"A[KLRZ]|C[AOT]|D[CE]|FL|GA|HI|I[ADLN]|K[SY]|LA|M[ADEINOST]|N[CDEHJMVY]|O[HKR]|PA|RI|S[CD]|T[NX]|UT|V[AT]|W[AIVY]"
)
POSTCODES = (
    re.compile(r"\b[A-Z]{1,2}\d[A-Z\d]?\s+\d[ABD-HJLNP-UW-Z]{2}\b"),
    re.compile(r"\b[a-z]{2}\d[a-z\d]?\s+\d(?!st\b|nd\b|rd\b|th\b)[abd-hjlnp-uw-z]{2}\b"),
    re.compile(rf"\b(?:{_STATES})[ ,]+\d{{5}}(?:-\d{{4}})?\b"),
    re.compile(r"\b(?:(?:D|F|I|E|PL|CZ)-\d{5}|(?:A|CH|B|P|DK|NL)-\d{4})\s+[A-ZÄÖÜ][a-zäöü]\w+"),
    re.compile(r"\b\d{4}\s?[A-Z]{2}\s+[A-Z][a-z]{2,}"),  # 1234 AB Voorbeeld
)
_SURNAME = r"(?:(?:van|von|de|der|den|di|da|del|la|le|el|al|bin|mc|mac|o')[ ']?){0,2}[A-ZÀ-ÖØ-ÞŁŚŻ][\w'’-]+"
TITLED = re.compile(
    rf"\b(?:Mr|Mrs|Ms|Mx|Miss|Dr|Prof|Sr|Sra|Srta|Herrn?|Frau|Fam|Familie|Mme|Mlle|Monsieur|Madame|Señora?|Signora?)"
    rf"\.?\s+(?:(?:and|&|und|et|y)\s+(?:Mr|Mrs|Ms|Frau|Mme|Sra)\.?\s+)?(?:[A-Z]\.?\s+)?{_SURNAME}(?:\s+{_SURNAME})?"
)
PAIR = re.compile(rf"\b([A-ZÀ-ÖØ-ÞŁŚŻ][\w’-]+)\s+(?:[A-Z]\.?\s+)?({_SURNAME}(?:-{_SURNAME})?)")
# A word that begins with a capital and is not all capitals.
_ONE = r"[A-ZÀ-ÖØ-ÞŁŚŻ][\w’'-]*[a-zß-öø-ÿłśż][\w’'-]*"
# Who it is about, then a name: "owner Tom Baker", "adopter is Kim".
_ROLES = (
    r"owners?|adopters?|finders?|surrenderer|donor|fosterer|foster carer|keeper|breeder|volunteer|neighbou?r|rescuer|"
    r"landlord|landlady|member of the public|caller"
)
_OF_ROLE = re.compile(
    rf"\b(?i:{_ROLES})(?i:\s+(?:is|was|called|named|name))*\s?[:,=(-]?\s*\b({_ONE})(?:\s+(?:and|&)\s+({_ONE}))?"
    rf"(?:\s+({_SURNAME}))?"
)
# What is done with people, then a given name: "rang Sue", "collected by Sam". Animals are called, found and fed, too,
# so those words are not here.
_DONE = (
    r"rang|ring|phoned|phone|told|tell|texted|text|e-?mailed|e-?mail|messaged|contacted|contact|spoke (?:to|with)|"
    r"speak (?:to|with)|talked (?:to|with)|(?:collected|brought(?: in| back)?|handed(?: in| over)|dropped(?: off)|"
    r"picked up|surrendered|signed(?: in| over)?|donated|adopted|reported|left|fostered|transported|driven) by|"
    r"(?:received|surrendered|collected|bought|donation|call|message|e-?mail|letter|picked up) from|thanks to"
)
_WITH_PERSON = re.compile(rf"\b(?i:{_DONE})\s+({_ONE})(?:\s+(?:and|&)\s+({_ONE}))?(?:\s+({_SURNAME}))?")
_FAMILY = re.compile(rf"\b[Tt]he ({_SURNAME})(?=\s+(?:family|household)\b)")
_PLAIN_WORDS = (
    "a an and at by can cannot could did died does for found from had has have her his in is its left moved no not of "
    "on or our request requested requests return returned returns said says she surrender surrendered surrenders that "
    "the their they to unable unknown wants was we went will with would adopting adoptive another family first former "
    "foster home host local neighbouring new next old own previous same second whole vet house street road"
)
_NO_NAMES = frozenset(_PLAIN_WORDS.split())
_LAST_FIRST = re.compile(r"^([^\W\d_][\w'’-]+),\s*([^\W\d_][\w'’-]+)(?:\s+\w\.?)?$")
_WHOLE = re.compile(r"^([^\W\d_][\w’-]+)\s+(?:\w\.?\s+)?((?:[^\W\d_][\w'’-]*\s*){1,3})$")
_NUMBER = re.compile(r"^\d+[.,]\d+$|^\d{1,3}(?:[ .,]\d{3})+(?:[.,]\d{1,2})?$")
_WHOLE_PHONE = re.compile(r"^[+(]?\d[\d ()./-]{5,}\d(?:\s*(?:ext|x)\.?\s*\d+)?$")


def plain(text: str) -> str:
    """Return ``text`` with plain spaces, dashes and digits, each character in its place."""
    return text.translate(_PLAIN)


@cache
def given_names() -> frozenset[str]:
    """Return common given names, folded."""
    text = resources.files("mendcurve.records").joinpath("given_names.txt").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return frozenset(folded(name) for line in lines for name in line.split())


@cache
def animal_words() -> frozenset[str]:
    """Return the words of the names of species, folded: "Thomas Tortoise" is no person."""
    known = reference()
    texts = [*known["name"], *known["aliases"].dropna(), *known["scientific"].dropna(), *known["taxon"].dropna()]
    return frozenset(word for text in texts for word in re.findall(r"\w+", folded(str(text))))


def is_given(word: str) -> bool:
    """Whether a word is a common given name."""
    return folded(word) in given_names()


def is_surname(words: str) -> bool:
    """Whether words may be a surname: none is a word for an animal."""
    return not animal_words().intersection(re.findall(r"\w+", folded(words)))


def names_told(text: str) -> list[tuple[int, int]]:
    """Return where names of people stand that the words before (or behind) them give away, first to last.

    After a word for a person: a given name, or two words with capitals. After what is done with people: a given name,
    and a surname behind it. "The ... family": any surname. Animals' names are none of these.
    """
    spans = []
    for pattern, any_two in ((_OF_ROLE, True), (_WITH_PERSON, False)):
        for match in pattern.finditer(text):
            first, second, last = match[1], match[2], match[3]
            named = [word for word in (first, second, last) if word]
            known = is_given(first) and (not last or is_surname(last))
            two = any_two and last and not any(folded(w) in _NO_NAMES for word in named for w in word.split())
            if known:
                end = (
                    match.end(3) if last and folded(last) not in _NO_NAMES else match.end(2) if second else match.end(1)
                )
                spans.append((match.start(1), end))
            elif two and all(is_surname(word) for word in named):
                spans.append((match.start(1), match.end()))
    for match in _FAMILY.finditer(text):
        if is_surname(match[1]) and folded(match[1]) not in _NO_NAMES and not match[1].endswith(("idae", "id")):
            spans.append(match.span(1))
    out: list[tuple[int, int]] = []
    for span in sorted(spans):
        if not out or span[0] >= out[-1][1]:
            out.append(span)
    return out


def is_name(text: str) -> bool:
    """Whether a whole cell is a person's name: "Maria Invented", "INVENTED, Maria", "Mrs Invented"."""
    text = plain(text).strip()
    if TITLED.fullmatch(text):
        return True
    last_first = _LAST_FIRST.match(text)
    if last_first:
        return is_given(last_first[2]) and is_surname(last_first[1])
    whole = _WHOLE.match(text)
    return whole is not None and is_given(whole[1]) and is_surname(whole[2])


def is_phone(text: str) -> bool:
    """Whether a whole cell is a telephone number in groups, or one that begins with 0 or +."""
    text = plain(text).strip()
    digits = sum(c.isdigit() for c in text)
    if not _WHOLE_PHONE.match(text) or not 7 <= digits <= 15 or DATE_LIKE.fullmatch(text) or _NUMBER.match(text):
        return False
    if text[0] in "+(0":
        return True
    return len(re.findall(r"\d+", text)) > 1 and (digits >= 9 or bool(PHONE.fullmatch(text)))


def is_id_phone(text: str) -> bool:
    """Whether an id is a telephone number beyond doubt: ids such as 231-0410 and numbers of chips are not."""
    text = plain(text).strip()
    if not is_phone(text):
        return bool(CALLED.search(text)) or any(sum(c.isdigit() for c in m[0]) >= 10 for m in PHONE.finditer(text))
    grouped = len(re.findall(r"\d+", text)) > 1
    return text[0] in "+(" or (sum(c.isdigit() for c in text) >= 10 and (grouped or text[0] == "0"))
