"""Join the entries of a parcel roll into owners."""

from __future__ import annotations

import hashlib
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from wetscout.people.names import Entry, entry, surname, surname_first


@dataclass(frozen=True)
class Owner:
    """One owner, however written.

    Attributes
    ----------
    owner_id : str
        Hash of the smallest of its entries: the same for the same roll.
    name : str
        The spelling used most.
    mail : tuple of str
        Street, town, state and postal code used most.
    spellings : int
        How many ways of writing were joined.
    namesakes : int
        Other owners of the same name at other addresses.
    """

    owner_id: str
    name: str
    mail: tuple[str, str, str, str]
    spellings: int
    namesakes: int


Said = TypeVar("Said", str, tuple[str, str, str, str])

# name, street, town, state, postal code, as in the file
Row = tuple[str, str, str, str, str]


class _Sets:
    """Disjoint sets over 0 .. n-1; the smallest member leads, so the answer does not depend on the order of joins."""

    def __init__(self, size: int) -> None:
        self.leader = list(range(size))

    def find(self, item: int) -> int:
        """Leader of the set that holds `item`."""
        while self.leader[item] != item:
            self.leader[item] = self.leader[self.leader[item]]
            item = self.leader[item]
        return item

    def join(self, one: int, two: int) -> None:
        """Make one set of the two that hold `one` and `two`."""
        low, high = sorted((self.find(one), self.find(two)))
        self.leader[high] = low


def group(rows: Sequence[Row]) -> list[Owner | None]:
    """Say for each row of a roll which owner it is.

    Parameters
    ----------
    rows : sequence of (name, street, town, state, postal code)
        Tidied texts; "" where unknown.

    Returns
    -------
    list of Owner or None
        None where no owner is named. Rows of one owner share one object.
    """
    entries = [entry(row[0], row[1], row[2], row[4]) for row in rows]
    kinds = sorted({item for item in entries if item.key}, key=lambda item: (item.key, item.address))
    number = {item: place for place, item in enumerate(kinds)}
    sets = _Sets(len(kinds))
    _join_names(kinds, sets)
    _join_addresses(kinds, sets, surname_first((row[0], item) for row, item in zip(rows, entries, strict=True)))
    leaders = [sets.find(number[item]) if item.key else None for item in entries]
    owners = _owners(rows, entries, leaders, kinds)
    return [None if leader is None else owners[leader] for leader in leaders]


def _join_names(kinds: Sequence[Entry], sets: _Sets) -> None:
    """One name is one owner where it is a firm, where the address is the same, or where only one address is known."""
    by_name: dict[str, list[int]] = defaultdict(list)
    for place, item in enumerate(kinds):
        by_name[item.key].append(place)
    for places in by_name.values():
        addresses = {kinds[place].address for place in places} - {""}
        if kinds[places[0]].firm or len(addresses) <= 1:
            for place in places[1:]:
                sets.join(places[0], place)


def _join_addresses(kinds: Sequence[Entry], sets: _Sets, first: bool) -> None:
    """At one address one surname is one household, and a firm belongs to those whose name it carries."""
    by_address: dict[str, list[int]] = defaultdict(list)
    for place, item in enumerate(kinds):
        if item.address:
            by_address[item.address].append(place)
    for places in by_address.values():
        households: dict[tuple[str, frozenset[str]], int] = {}
        for place in places:
            family = surname(kinds[place], first)
            if family:
                sets.join(households.setdefault((family, kinds[place].generation), place), place)
        for place in places:
            words = kinds[place].words
            if kinds[place].firm and words:
                for other in places:
                    if words <= kinds[other].words:
                        sets.join(place, other)


def _owners(
    rows: Sequence[Row], entries: Sequence[Entry], leaders: Sequence[int | None], kinds: Sequence[Entry]
) -> dict[int, Owner]:
    members: dict[int, list[int]] = defaultdict(list)
    for place, leader in enumerate(leaders):
        if leader is not None:
            members[leader].append(place)
    of_name: dict[str, set[int]] = defaultdict(set)
    for leader, places in members.items():
        for place in places:
            of_name[entries[place].key].add(leader)
    owners = {}
    for leader, places in members.items():
        namesakes = set().union(*(of_name[entries[place].key] for place in places)) - {leader}
        mails = Counter(rows[place][1:] for place in places if entries[place].address)
        lead = kinds[leader]
        owners[leader] = Owner(
            "o" + hashlib.sha256(f"{lead.key}|{lead.address}".encode()).hexdigest()[:10],
            _most(Counter(rows[place][0] for place in places)),
            _most(mails) if mails else ("", "", "", ""),
            len({rows[place][0] for place in places}),
            len(namesakes),
        )
    return owners


def _most(counts: Counter[Said]) -> Said:
    """The most frequent; of equals the first in the alphabet."""
    return min(counts, key=lambda item: (-counts[item], item))
