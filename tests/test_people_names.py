"""When two entries of a roll are one owner. All names and firms are invented.

The rules are common practice, no source; each case below states one of them.
"""

from __future__ import annotations

import random

import pytest

from wetscout.people.groups import Row, group
from wetscout.people.names import entry, surname, surname_first, tidy


def row(name: str, street: str = "", town: str = "Ostly", postal: str = "12345") -> Row:
    return (name, street, town, "ZZ", postal)


def same(one: Row, two: Row, *others: Row) -> bool:
    owners = group([one, two, *others])
    assert owners[0] is not None
    assert owners[1] is not None
    return owners[0].owner_id == owners[1].owner_id


MILL = "12 Mill Road"


@pytest.mark.parametrize(
    ("one", "two"),
    [
        ("MOSSWELL IVO", "Mosswell Ivo"),
        ("Mosswell, Ivo", "MOSSWELL IVO"),
        ("MOSSWELL IVO & WIFE", "MOSSWELL IVO"),
        ("MOSSWELL IVO ET UX", "MOSSWELL IVO ETUX"),
        ("MOSSWELL IVO ET AL", "MOSSWELL IVO"),
        ("MOSSWELL IVO H/W", "MOSSWELL IVO"),
        ("MOSSWELL IVO % SOME BANK", "MOSSWELL IVO"),
        ("MOSSWELL IVO C/O SOME BANK", "MOSSWELL IVO"),
        ("O'FENN TESS", "OFENN TESS"),
        ("GRÜNMOOR ÄNNE", "GRUNMOOR ANNE"),
        ("Tarn Farms, L.L.C.", "TARN FARMS LLC"),
        ("Tarn Farms Limited Liability Company", "TARN FARMS L L C"),
        ("The Tarn Company, Inc.", "TARN CO INCORPORATED"),
        ("MOSSWELL FAMILY REVOCABLE TRUST", "Mosswell Family Trust"),
        ("MOSSWELL FAMILY TRUST TRUSTEES", "MOSSWELL FAMILY TRUST"),
        ("TARN AND SONS INC", "TARN & SONS INC"),
    ],
)
def test_spellings_of_one_owner(one: str, two: str) -> None:
    assert entry(one, "", "", "").key == entry(two, "", "", "").key != ""
    assert same(row(one, MILL), row(two, MILL))
    assert same(row(one), row(two))


@pytest.mark.parametrize(
    ("one", "two"),
    [
        ("MOSSWELL IVO", "MOSSWELL IRA"),
        ("TARN FARMS LLC", "TARN FARMS INC"),
        ("MOSSWELL IVO JR", "MOSSWELL IVO SR"),
        ("FENN LAND LLC", "RUSH LAND LLC"),
    ],
)
def test_different_owners_at_different_places(one: str, two: str) -> None:
    assert not same(row(one, MILL), row(two, "9 Other Lane"))
    assert not same(row(one), row(two))


@pytest.mark.parametrize(
    ("one", "two"),
    [
        ("12 Mill Road", "12 MILL RD."),
        ("P.O. Box 77", "PO BOX 77"),
        ("Post Office Box 77", "Box 77"),
        ("340 North Heron Street", "340 N HERON ST"),
        ("R.R. 2", "RURAL ROUTE 2"),
        ("5 Fen Ave Apt 3", "5 FEN AVENUE #3".replace("#", "UNIT ")),
    ],
)
def test_one_address_in_many_forms(one: str, two: str) -> None:
    assert entry("A B", one, "Ostly", "12345-6789").address == entry("A B", two, "OSTLY", "12345").address


def test_one_name_at_two_addresses_is_two_people_but_one_firm() -> None:
    owners = group([row("MOSSWELL IVO", MILL), row("MOSSWELL IVO", "9 Other Lane")])
    assert owners[0] != owners[1]
    assert [owner.namesakes for owner in owners if owner] == [1, 1]
    assert same(row("TARN FARMS LLC", MILL), row("Tarn Farms LLC", "9 Other Lane"))


def test_a_row_without_an_address_joins_the_only_one_of_its_name() -> None:
    assert same(row("MOSSWELL IVO", MILL), row("MOSSWELL IVO"))
    owners = group([row("MOSSWELL IVO"), row("MOSSWELL IVO", MILL), row("MOSSWELL IVO", "9 Other Lane")])
    assert len({owner.owner_id for owner in owners if owner}) == 3


def test_one_household_under_one_roof() -> None:
    assert same(row("MOSSWELL IVO", MILL), row("MOSSWELL TESS", "12 MILL RD"))
    assert same(row("MOSSWELL IVO A & TESS B", MILL), row("MOSSWELL IVO", MILL))
    assert not same(row("MOSSWELL IVO", MILL), row("FENN IVO", MILL))
    assert not same(row("MOSSWELL IVO JR", MILL), row("MOSSWELL IVO SR", MILL))


def test_a_firm_belongs_to_the_name_it_carries_at_the_same_address() -> None:
    assert same(row("MOSSWELL FARMS LLC", MILL), row("MOSSWELL IVO", MILL))
    assert same(row("MOSSWELL FAMILY TRUST", MILL), row("MOSSWELL IVO & TESS", MILL))
    assert not same(row("MOSSWELL FARMS LLC", MILL), row("MOSSWELL IVO", "9 Other Lane"))
    assert not same(row("FARMS LAND LLC", MILL), row("MOSSWELL IVO", MILL))


def test_many_firms_at_an_agents_address_stay_apart() -> None:
    names = ["SEDGE LLC", "BITTERN LLC", "RUSH HOLDINGS INC", "PIKE TRUST"]
    owners = group([row(name, "1 Agent Plaza") for name in names])
    assert len({owner.owner_id for owner in owners if owner}) == 4


@pytest.mark.parametrize("name", ["", "  ", "UNKNOWN", "N/A", "Owner Unknown", "null", "---", "00000", "?"])
def test_blank_names(name: str) -> None:
    assert group([row(tidy(name), MILL)]) == [None]


def test_order_of_surname_and_first_name_is_read_off_the_roll() -> None:
    last = ["IVO & TESS MOSSWELL", "ADA & BO FENN", "CY RUSH"]
    first = ["MOSSWELL IVO & TESS", "FENN, ADA", "RUSH CY"]
    for names, expected in ((last, False), (first, True)):
        entries = [(name, entry(name, MILL, "", "")) for name in names]
        assert surname_first(entries) is expected
    assert surname(entry("CY RUSH JR", "", "", ""), False) == "RUSH"
    assert surname(entry("RUSH CY JR", "", "", ""), True) == "RUSH"
    owners = group([row(name, MILL) for name in (*last, "TESS MOSSWELL")])
    assert owners[0] == owners[3]
    assert owners[0] != owners[1]


def test_the_name_shown_is_the_one_used_most() -> None:
    rows = [row("Tarn Farms LLC", MILL), row("TARN FARMS L.L.C.", MILL), row("Tarn Farms LLC", "9 Other Lane")]
    owner = group(rows)[0]
    assert owner is not None
    assert (owner.name, owner.spellings) == ("Tarn Farms LLC", 2)
    assert owner.mail[0] == MILL


def test_order_of_the_rows_does_not_matter() -> None:
    rows = [row("MOSSWELL IVO", MILL), row("MOSSWELL TESS", MILL), row("TARN FARMS LLC"),
            row("MOSSWELL FARMS LLC", MILL), row("TARN FARMS L L C", "Box 3"), row("FENN ADA"),
            row("", MILL), row("FENN, ADA", "Box 9")]  # fmt: skip
    want = dict(zip(rows, group(rows), strict=True))
    for seed in range(20):
        mixed = random.Random(seed).sample(rows, len(rows))
        assert dict(zip(mixed, group(mixed), strict=True)) == want


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("GrÃ¼nmoor  Ã„nne ", "Grünmoor Änne"),
        ("Moor â€“ West", "Moor – West"),
        ("Âlvares Ãrea", "Âlvares Ãrea"),
        (50010.0, "50010"),
        (float("nan"), ""),
        (None, ""),
        ("  two\n lines ", "two lines"),
    ],
)
def test_tidy(value: object, text: str) -> None:
    assert tidy(value) == text


def test_large_roll_is_quick() -> None:
    """20 000 entries, 500 of them firms at one agent's address."""
    rng = random.Random(1)
    syllables = ["ro", "ba", "ki", "ten", "sul", "mar", "vo", "lin", "dar", "ex"]
    word = lambda: "".join(rng.choices(syllables, k=3)).upper()  # noqa: E731
    rows = [row(f"{word()} {word()}", f"{rng.randrange(9000)} {word()} RD") for _ in range(19500)]
    rows += [row(f"{word()} {word()} LLC", "1 Agent Plaza") for _ in range(500)]
    owners = group(rows)
    assert len(owners) == 20000
    assert all(owners)
