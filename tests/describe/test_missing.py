from survstats.describe.missing import missing_by_outcome
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.records.loading import read_records


def test_every_cell_counted_the_slow_way():
    folder = demo_folder("demo_small")
    records = read_records(folder / "mishap.csv", folder / "occupant.csv")
    derived = derive(records, currency_months=24)
    table = missing_by_outcome(records, derived).set_index(["table", "field"])
    mishaps = {row["mishap_id"]: row for row in records.raw["mishap"].to_dict("records")}
    people = records.raw["occupant"].to_dict("records")
    for (name, field), row in table.iterrows():
        for token, text in (("empty", ""), ("unknown", "unknown"), ("na", "na")):
            for fate, lived in (("died", 0), ("survived", 1)):
                slow = sum(
                    (mishaps[person["mishap_id"]] if name == "mishap" else person)[field] == text
                    for person, alive in zip(people, derived["survived"], strict=True)
                    if alive == lived
                )
                assert row[f"{token}_{fate}"] == slow, (name, field, token, fate)
    assert table.loc[("occupant", "training_ever"), "unknown_died"] > 0
    assert (table["died"] + table["survived"] == len(people)).all()
