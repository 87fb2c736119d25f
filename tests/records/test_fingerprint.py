import pytest
from rewritten import DATE_FORMS, as_csv, as_parquet, as_xlsx, rng, shuffled, texts, with_shared_texts

from survstats.records.demo import demo_folder
from survstats.records.fingerprint import cohort_hash
from survstats.records.loading import read_records
from survstats.records.reading.study_folder import find_tables

TABLES = ("mishap", "occupant")


@pytest.fixture(scope="module")
def frames():
    return {table: texts(demo_folder("demo_small") / f"{table}.csv") for table in TABLES}


@pytest.fixture(scope="module")
def expected(frames):
    return cohort_hash(read_records(*(demo_folder("demo_small") / f"{table}.csv" for table in TABLES)))


def hashed(folder, contents, suffix):
    paths = [folder / f"{table}{suffix}" for table in TABLES]
    for path, table in zip(paths, TABLES, strict=True):
        path.write_bytes(contents(table))
    records = read_records(*paths)
    assert not [f for f in records.findings if f.severity == "error"]
    return cohort_hash(records)


@pytest.mark.parametrize("dates", DATE_FORMS)
@pytest.mark.parametrize(
    ("delimiter", "decimal", "encoding"),
    [(",", ".", "utf-8"), (";", ",", "utf-8-sig"), ("\t", ",", "utf-16"), (";", ".", "windows-1252")],
)
def test_the_way_a_csv_file_is_written_does_not_matter(
    delimiter, decimal, encoding, dates, frames, expected, tmp_path
):
    def contents(table):
        frame = shuffled(frames[table], rng(len(dates)))
        return as_csv(
            frame,
            table,
            delimiter=delimiter,
            decimal=decimal,
            encoding=encoding,
            dates=dates,
            line_end="\r\n",
        )

    assert hashed(tmp_path, contents, ".csv") == expected


@pytest.mark.parametrize("typed", [True, False])
def test_nor_does_the_format(typed, frames, expected, tmp_path):
    book = as_xlsx({t: shuffled(frames[t], rng(1)) for t in TABLES}, typed=typed, other_sheets=["how to"])
    assert hashed(tmp_path, lambda _table: book, ".xlsx") == expected
    assert hashed(tmp_path, lambda _table: with_shared_texts(book), ".xlsx") == expected
    assert (
        hashed(tmp_path, lambda t: as_parquet(shuffled(frames[t], rng(2)), t, typed=typed), ".parquet")
        == expected
    )


def test_nor_does_one_workbook_found_by_its_sheets(frames, expected, tmp_path):
    (tmp_path / "anything.xlsx").write_bytes(as_xlsx(frames))
    found = find_tables(tmp_path)
    assert {table: path.name for table, path in found.items()} == dict.fromkeys(TABLES, "anything.xlsx")
    assert cohort_hash(read_records(found["mishap"], found["occupant"])) == expected


@pytest.mark.parametrize(
    ("table", "column", "text"),
    [
        ("mishap", "water_temp_c", "11.01"),
        ("occupant", "suit_worn", "na"),
        ("occupant", "egress_lo_s", "unknown"),
    ],
)
def test_one_other_cell_is_another_hash(table, column, text, frames, expected, tmp_path):
    changed = {name: frame.copy() for name, frame in frames.items()}
    assert changed[table].loc[3, column] != text
    changed[table].loc[3, column] = text
    assert hashed(tmp_path, lambda t: as_csv(changed[t], t), ".csv") != expected


def test_empty_unknown_and_na_are_not_the_same_records(frames, tmp_path):
    hashes = set()
    for text in ("", "unknown", "na"):
        changed = frames["occupant"].assign(exit_distance_m=text)
        hashes.add(
            hashed(tmp_path, lambda t, c=changed: as_csv(c if t == "occupant" else frames[t], t), ".csv")
        )
    assert len(hashes) == 3


def test_a_number_is_itself_however_it_is_written(frames, expected, tmp_path):
    longer = frames["mishap"].assign(
        n_aboard=[f"{n}" for n in frames["mishap"]["n_aboard"]],
        water_temp_c=[f"{t}0" if "." in t else t for t in frames["mishap"]["water_temp_c"]],
    )
    assert (longer != frames["mishap"]).any().any()
    assert hashed(tmp_path, lambda t: as_csv(longer if t == "mishap" else frames[t], t), ".csv") == expected


@pytest.mark.parametrize("pattern", ["{}:00", "{}Z", "{}:00Z"])
def test_a_time_is_itself_however_it_is_written(pattern, frames, expected, tmp_path):
    times = [pattern.format(t) if ":" in t else t for t in frames["mishap"]["event_time_utc"]]
    assert times != list(frames["mishap"]["event_time_utc"])
    changed = {**frames, "mishap": frames["mishap"].assign(event_time_utc=times)}
    assert hashed(tmp_path, lambda t: as_csv(changed[t], t), ".csv") == expected


def test_another_second_is_another_hash(frames, expected, tmp_path):
    times = [f"{t}:01" if ":" in t else t for t in frames["mishap"]["event_time_utc"]]
    changed = {**frames, "mishap": frames["mishap"].assign(event_time_utc=times)}
    assert hashed(tmp_path, lambda t: as_csv(changed[t], t), ".csv") != expected


def test_the_tables_it_covers_can_be_chosen(frames, expected):
    folder = demo_folder("demo_small")
    paths = [folder / f"{table}.csv" for table in TABLES]
    with_runs = read_records(*paths, training_run_path=folder / "training_run.csv")
    alone = read_records(*paths)
    assert len(with_runs.training_run)
    assert cohort_hash(with_runs) != cohort_hash(alone)
    assert cohort_hash(with_runs, tables=TABLES) == cohort_hash(alone, tables=TABLES)
