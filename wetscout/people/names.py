"""When two entries of a parcel roll are one owner.

Common practice, no source: rolls write one owner in many ways (upper and lower case, commas, "& wife", "et ux", LLC in
all forms), and one household or firm under one mailing address. Joining is cautious: one name at two addresses stays
two people, unless it is a firm or a trust. No name of a person is ever put into a message.
"""

from __future__ import annotations

import contextlib
import math
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

BLANK = frozenset(
    ("", "UNKNOWN", "OWNER UNKNOWN", "UNKNOWN OWNER", "N A", "NA", "NAN", "NONE", "NULL", "NOT AVAILABLE", "NO DATA",
     "NO OWNER", "UNASSIGNED", "NOT GIVEN", "TBD", "X", "XX", "XXX")
)  # fmt: skip
# ways of writing a legal form, made one; longer forms first
_FORMS = (
    (r"LIMITED LIABILITY (COMPANY|CO)|L L C|LTD LIABILITY CO", "LLC"),
    (r"LIMITED LIABILITY PARTNERSHIP|L L P", "LLP"),
    (r"(FAMILY )?LIMITED PARTNERSHIP|L P", "LP"),
    (r"INCORPORATED|I N C", "INC"),
    (r"CORPORATION", "CORP"),
    (r"COMPANY", "CO"),
    (r"LIMITED", "LTD"),
    (r"REVOCABLE|REVOC|REV|LIVING|LIV|IRREVOCABLE|IRREV", ""),
    (r"TRST|TRUSTS|TR", "TRUST"),
    (r"BROTHERS", "BROS"),
    (r"ASSOCIATION|ASSOC", "ASSN"),
)
# what is said of a person and is no part of the name
_SIDE_WORDS = (
    r"HUSBAND & WIFE|WIFE & HUSBAND|& (HIS )?WIFE|& (HER )?HUSBAND|& SPOUSE|ET UX|ETUX|ET VIR|ETVIR|ET AL|ETAL|"
    r"& OTHERS|JTWROS|JTRS|JT TEN|JOINT TENANTS|TENANTS IN COMMON|TIC|LIFE ESTATE|SUCCESSOR|"
    r"CO TRUSTEES?|TRUSTEES?|TTEES?|& HEIRS|HEIRS OF|MR|MRS|MS|DR|THE"
)
FIRM_WORDS = frozenset(
    ("LLC", "LLP", "LP", "INC", "CORP", "CO", "LTD", "TRUST", "ASSN", "PARTNERSHIP", "FARM", "FARMS", "BROS", "ESTATE",
     "CHURCH", "CITY", "COUNTY", "STATE", "TOWNSHIP", "TOWN", "DISTRICT", "SCHOOL", "BANK", "COOP", "COOPERATIVE",
     "FOUNDATION", "UNIVERSITY", "HOLDINGS", "PROPERTIES", "LAND", "RANCH", "DAIRY", "ENTERPRISES", "VENTURES", "GROUP",
     "SOCIETY", "CLUB", "USA", "DEPARTMENT", "DEPT", "AUTHORITY", "RAILROAD", "RAILWAY", "UTILITIES", "HOMES", "REALTY")
)  # fmt: skip
# words that do not tell one firm from another at one address
_COMMON = FIRM_WORDS | frozenset(("AND", "OF", "FAMILY", "FOR", "SONS", "SON", "INVESTMENTS", "MANAGEMENT", "PARTNERS"))
_GENERATION = frozenset(("JR", "SR", "II", "III", "IV"))
_STREET = {
    "STREET": "ST", "ROAD": "RD", "AVENUE": "AVE", "AV": "AVE", "DRIVE": "DR", "LANE": "LN", "COURT": "CT",
    "HIGHWAY": "HWY", "BOULEVARD": "BLVD", "PLACE": "PL", "CIRCLE": "CIR", "TERRACE": "TER", "TRAIL": "TRL",
    "PARKWAY": "PKWY", "NORTH": "N", "SOUTH": "S", "EAST": "E", "WEST": "W", "NORTHEAST": "NE", "NORTHWEST": "NW",
    "SOUTHEAST": "SE", "SOUTHWEST": "SW", "APARTMENT": "UNIT", "APT": "UNIT", "SUITE": "UNIT", "STE": "UNIT",
}  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """One way in which an owner is written: name and mailing address, made comparable.

    Attributes
    ----------
    key : str
        The name without case, accents, commas and side words; "" where no owner is named.
    address : str
        Street or box and the postal code, made comparable; "" where unknown.
    firm : bool
        A firm, trust or public body, not a person.
    """

    key: str
    address: str
    firm: bool

    @property
    def words(self) -> frozenset[str]:
        """Words that tell this name from others."""
        return frozenset(word for word in self.key.split() if len(word) > 2 and word not in _COMMON)

    @property
    def generation(self) -> frozenset[str]:
        """JR, SR, II, ...: father and son of one name at one address are two owners."""
        return frozenset(self.key.split()) & _GENERATION


def tidy(value: object) -> str:
    """Text of a cell of a parcel file, with spaces put right and doubly encoded letters restored.

    Parameters
    ----------
    value : object
        Any cell.

    Returns
    -------
    str
        "" where there is nothing.
    """
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return ""
    text = str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)
    if any(mark in text for mark in ("Ã", "Â", "â€")):
        with contextlib.suppress(UnicodeError):
            text = text.encode("cp1252").decode("utf-8")
    return re.sub(r"\s+", " ", text).strip()


def entry(name: str, street: str, town: str, postal: str) -> Entry:
    """Make one entry of the roll comparable.

    Parameters
    ----------
    name : str
        Owner's name as in the file.
    street, town, postal : str
        Mailing address as in the file; "" where unknown.

    Returns
    -------
    Entry
    """
    key = _name_key(name)
    return Entry(key, _address_key(street, town, postal), bool(set(key.split()) & FIRM_WORDS))


def _plain(text: str) -> str:
    """Upper case, no accents, no points or apostrophes, other marks as spaces; & kept."""
    letters = unicodedata.normalize("NFKD", text.upper())
    letters = "".join(letter for letter in letters if not unicodedata.combining(letter))
    letters = re.sub(r"[.'’`]", "", letters)
    return re.sub(r"\s+", " ", re.sub(r"[^A-Z0-9&]+", " ", letters.replace("&", " & ").replace("+", " & "))).strip()


def _name_key(name: str) -> str:
    # what follows "care of" is who reads the mail, not who owns
    key = _plain(re.split(r"\bC/O\b|\bATTN\b|%|\bH/W\b", name.upper())[0])
    key = re.sub(r"\bAND\b", "&", key)
    if key in BLANK or not re.search(r"[A-Z]", key):
        return ""
    for pattern, form in _FORMS:
        key = re.sub(rf"\b({pattern})\b", form, key)
    key = re.sub(rf"(^|\s)({_SIDE_WORDS})(?=\s|$)", " ", key)
    key = re.sub(r"\s+", " ", key).strip(" &")
    return "" if key in BLANK else key


def _address_key(street: str, town: str, postal: str) -> str:
    key = _plain(street)
    key = re.sub(r"\b(P O BOX|PO BOX|POST OFFICE BOX|POB|BOX)\b", "BOX", key)
    key = re.sub(r"\b(RURAL ROUTE|R R|RURAL RT|RT|ROUTE)\b", "RR", key)
    key = " ".join(_STREET.get(word, word) for word in key.split())
    if not key or key in BLANK:
        return ""
    digits = re.sub(r"\D", "", postal)[:5]
    return f"{key} {digits or _plain(town)}".strip()


def surname_first(entries: Iterable[tuple[str, Entry]]) -> bool:
    """Whether a roll writes the surname first, judged by its commas and its couples.

    Parameters
    ----------
    entries : iterable of (name as in the file, Entry)
        The whole roll.

    Returns
    -------
    bool
        True where nothing speaks for the other order, which is the usual one on rolls (common practice, no source).
    """
    votes = 0
    for raw, item in entries:
        if item.firm or not item.key:
            continue
        if "," in raw:
            votes += 1
        parts = [part.split() for part in item.key.split("&")]
        if len(parts) == 2 and parts[0] and parts[1]:
            votes += (len(parts[0]) > 1 and len(parts[1]) == 1) - (len(parts[0]) == 1 and len(parts[1]) > 1)
    return votes >= 0


def surname(item: Entry, first: bool) -> str:
    """Surname of a person.

    Parameters
    ----------
    item : Entry
        A person's entry.
    first : bool
        As `surname_first` says.

    Returns
    -------
    str
        "" for a firm.
    """
    words = [word for word in item.key.replace("&", " ").split() if word not in _GENERATION]
    if item.firm or len(words) < 2:
        return ""
    return words[0] if first else words[-1]
