"""Tables in: by a mapping, looked at first, row by row, and all or nothing."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from forestay.case.fact import Fact
from forestay.case.fold import fold
from forestay.errors import ConflictingFact, ForestayError, InvalidInput, MissingInput, UnreadableFile
from forestay.exchange.table_mapping import Mapping, fields, kind_of, read_mapping
from forestay.exchange.units import allowed_units, converter, logmar_of_snellen
from forestay.services.cases import export_case, import_case
from forestay.services.tables import TableLook, import_table, is_own_table, look_at_table, own_mapping
from forestay.store.memory import MemoryFactStore
from tests.case.strategies import fact, length
from tests.exchange.table_examples import MAPPING, ROWS, as_csv, as_excel, as_parquet


def mapping(text: str = MAPPING) -> Mapping:
    return read_mapping(text.encode(), "map.toml")


def done(
    rows: list[list[str]] | None = None, store: MemoryFactStore | None = None
) -> tuple[MemoryFactStore, TableLook]:
    kept = store or MemoryFactStore()
    return kept, import_table(kept, as_csv(rows), "t.csv", mapping())


@pytest.mark.parametrize("made", [as_csv, as_excel, as_parquet])
def test_the_same_table_in_three_forms_gives_the_same_cases(made: Callable[[], bytes]) -> None:
    """Radii 7.85 and 7.67 mm are 42.9936 and 44.0026 D for the index 1.3375 (check value K2); 6/18 is logMAR 0.4771 (G1)."""
    store = MemoryFactStore()
    look = import_table(store, made(), "t", mapping())
    assert (look.kept, look.count("new"), look.left) == (True, 2, ("Name",))
    case = fold(store.facts("T-1")).case
    assert (case.eye.side, case.person.age_years) == ("right", 75)
    assert (case.biometry.axial_length_mm, case.biometry.k1_d, case.biometry.k2_d) == (23.45, 42.99, 44.0)
    assert case.eye.visual_acuity_logmar == 0.477
    assert (case.signs.pseudoexfoliation, case.signs.dialysis_clock_hours) == (True, (4.0, 5.0))
    assert fold(store.facts("T-2")).case.person.age_years == 76
    assert b"somebody" not in b"".join(one.body for c in store.cases() for one in store.facts(c))
    assert import_table(store, made(), "t", mapping()).count("unchanged") == 2
    assert look_at_table(store, made(), "t", mapping()).count("unchanged") == 2


@pytest.mark.parametrize(
    ("snellen", "logmar"),
    [
        ("6/6", 0),
        ("6/9", 0.1761),
        ("6/12", 0.3010),
        ("6/24", 0.6021),
        ("6/36", 0.7782),
        ("6/60", 1),
        ("3/60", 1.3010),
        ("1/60", 1.7782),
    ],
)
def test_snellen_fractions_are_those_of_the_handbook(snellen: str, logmar: float) -> None:
    """Check values G1 of audit and standards: logMAR = −log10 of the fraction."""
    assert logmar_of_snellen(snellen) == pytest.approx(logmar, abs=1e-4)


def test_a_look_keeps_nothing_and_says_what_each_row_would_do() -> None:
    store = MemoryFactStore()
    bad = [ROWS[0], [*ROWS[1][:5], "240,0", "x", *ROWS[1][7:]]]
    look = look_at_table(store, as_csv(bad), "t.csv", mapping())
    assert [row.state for row in look.rows] == ["new", "refused"]
    assert look.rows[1].line == 3
    assert "biometry.axial_length_mm" in look.rows[1].says[0]
    assert look.rows[1].says[1].startswith("R1: x is no number")
    assert "axial length 23.45 mm" in look.rows[0].says
    assert store.cases() == []


def test_one_bad_row_keeps_the_whole_table_out() -> None:
    store = MemoryFactStore()
    with pytest.raises(
        InvalidInput, match="1 of 3 rows cannot be read, and nothing was kept: line 4: Eye: O is not among"
    ) as told:
        done([*ROWS, ["T-3", "", "01.03.2026", "O", *ROWS[0][4:]]], store)
    assert told.value.field == "line 4"
    assert store.cases() == []


@pytest.mark.parametrize(
    ("column", "value", "why"),
    [
        (0, "Name, first", "letters, digits"),
        (0, "", "letters, digits"),
        (2, "2026-03-01", "is no date"),
        (3, "", "a new case needs eye.side"),
        (4, "", "a new case needs person.age_years"),
        (5, "23.45", "before its decimals"),
        (5, "1.234,5", "before its decimals"),
        (5, "nan", "no number"),
        (6, "0", "cannot be"),
        (8, "0,5", "no fraction"),
        (9, "yes", "not among the words"),
        (10, "13", "signs.dialysis_clock_hours"),
    ],
)
def test_a_cell_that_cannot_be_is_told_with_its_line(column: int, value: str, why: str) -> None:
    row = list(ROWS[0])
    row[column] = value
    look = look_at_table(MemoryFactStore(), as_csv([row]), "t.csv", mapping())
    assert look.rows[0].state == "refused"
    assert why in look.rows[0].says[0]


def test_a_row_with_too_many_cells_is_told_with_its_line() -> None:
    look = look_at_table(MemoryFactStore(), as_csv() + b"\nT-3;" + b"x;" * 40, "t.csv", mapping())
    assert [row.state for row in look.rows] == ["new", "new", "refused"]
    assert look.rows[2].says[0].startswith("41 cells where there are 11 headings")


def test_a_kept_case_takes_what_differs_as_a_disagreement_and_refuses_the_other_eye() -> None:
    store, _ = done()
    other = list(ROWS[0])
    other[5] = "23,95"
    _, look = done([other], store)
    assert look.rows[0].state == "added"
    assert [d.field for d in fold(store.facts("T-1")).disagreements] == ["biometry.axial_length_mm"]
    other[3] = "OS"
    with pytest.raises(InvalidInput, match="the case is about the right eye, the row about the left one"):
        done([other], store)


def test_visits_come_in_beside_a_case_that_is_kept() -> None:
    store, _ = done()
    told = 'case = "N"\n[columns."Day"]\nfield = "seen.day"\nunit = "weeks"\n[columns."SE"]\nfield = "seen.refraction_d"\nunit = "D"\n'
    import_table(store, b"N,Day,SE\nT-1,4,-0.25\n", "v.csv", mapping(told))
    assert store.facts("T-1")[-1].header.kind == "seen"
    assert b'"day":28' in store.facts("T-1")[-1].body
    look = look_at_table(store, b"N,Day,SE\nT-1,,-0.25\nT-1,4,-99\nT-9,4,0\n", "v.csv", mapping(told))
    assert [row.state for row in look.rows] == ["refused"] * 3


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("case = ", UnreadableFile),
        ('case = "N"', MissingInput),
        ('case = "N"\ndate_format = "%m.%m.%Y"\n[columns.A]\nfield = "eye.side"', InvalidInput),
        ('case = "N"\ndate_format = "%Q"\n[columns.A]\nfield = "eye.side"', InvalidInput),
        ('case = "N"\n[columns.A]\nfield = "biometry.axial_length_mm"', InvalidInput),
        ('case = "N"\n[columns.A]\nfield = "biometry.axial_length_mm"\nunit = "inch"', InvalidInput),
        ('case = "N"\n[columns.A]\nfield = "biometry.length"\nunit = "mm"', InvalidInput),
        ('case = "N"\n[columns.A]\nfield = "eye.side"\nunit = "mm"', InvalidInput),
        ('case = "N"\n[columns.A]\nfield = "target.lens_constant"', InvalidInput),
        ('case = "N"\n[columns.A]\nfield = "eye.side"\n[columns.B]\nfield = "eye.side"', InvalidInput),
        ('case = "N"\nfoo = 1\n[columns.A]\nfield = "eye.side"', ForestayError),
    ],
)
def test_a_mapping_without_unit_or_with_an_unknown_field_is_refused(text: str, error: type[ForestayError]) -> None:
    with pytest.raises(error):
        mapping(text)


def test_every_number_that_has_a_unit_can_be_mapped_in_its_own_unit() -> None:
    units = {path: allowed_units(path) for path in fields() if kind_of(path) == "number"}
    assert {path for path, known in units.items() if known and converter(path, known[0])(2.5) != 2.5} == set()
    assert units["biometry.k1_d"][-1] == "mm radius"
    assert units["lens.grade"] == ()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\n\n",
        b"A;A\n1;2",
        b"A;;B\n1;2;3",
        b"Number;Measured\nT-1;x",
        b"\xff\xfe\x00",
        b'Number;"',
        b"PK\x03\x04rubbish",
        b"PAR1rubbishPAR1",
        as_csv([]),
    ],
)
def test_what_is_no_table_is_one_clear_error(data: bytes) -> None:
    with pytest.raises(ForestayError):
        look_at_table(MemoryFactStore(), data, "t.csv", mapping())


def test_a_table_without_a_mapping_says_what_it_needs() -> None:
    with pytest.raises(MissingInput) as told:
        import_case(MemoryFactStore(), as_csv(), name="list.csv")
    assert told.value.field == "mapping"


@settings(deadline=None, max_examples=15, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from([as_csv(), as_excel(), as_parquet()]), st.data())
def test_changed_bytes_of_a_table_keep_all_or_nothing(whole: bytes, data: st.DataObject) -> None:
    changed = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 3))):
        changed[data.draw(st.integers(0, len(changed) - 1))] = data.draw(st.integers(0, 255))
    store = MemoryFactStore()
    try:
        look = import_table(store, bytes(changed), "t", mapping())
    except ForestayError:
        assert store.cases() == []
    else:
        assert len(store.cases()) == len({row.case for row in look.rows})


def test_the_store_takes_facts_of_several_cases_together_or_none() -> None:
    store = MemoryFactStore()
    one, two = fact(length(23), 1), fact(length(24), 2, case="M-2")
    assert store.append_all({"M-1": [one], "M-2": [two]}) == 2
    assert store.append_all({"M-1": [one]}) == 0
    forged = Fact(two.header, one.body)
    with pytest.raises(ConflictingFact):
        store.append_all({"M-1": [fact(length(25), 3)], "M-2": [forged]})
    assert [len(store.facts(c)) for c in store.cases()] == [1, 1]


def test_a_table_that_an_export_wrote_comes_back_without_a_mapping() -> None:
    store, _ = done()
    data = export_case(store, "T-1", "table")
    assert is_own_table(data, "t.csv")
    assert not is_own_table(as_csv(), "t.csv")
    there = MemoryFactStore()
    look = import_table(there, data, "t.csv", own_mapping(data, "t.csv"))
    assert look.count("new") == 1
    assert fold(there.facts("T-1")).case == fold(store.facts("T-1")).case
    assert export_case(there, "T-1", "table") == data
