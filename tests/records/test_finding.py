from survstats.records.finding import Finding, findings_frame, sentence

FINDING = Finding(
    "F1", "error", "occupant.csv", 7, "role", "pasenger", "passenger", "did you mean passenger?"
)


def test_the_sentence_names_everything():
    said = sentence(FINDING)
    for part in ("occupant.csv", "row 7", "role", "pasenger", "passenger", "did you mean"):
        assert part in said
    assert said.count("\n") == 0


def test_an_empty_cell_is_called_so():
    assert "found an empty cell" in sentence(
        Finding("F4", "error", "a.csv", 2, "outcome", "", "a value", "enter it")
    )


def test_the_frame_keeps_a_finding_without_row():
    whole = Finding("R39", "statement", "occupant.csv", None, "training_ever", "x", "", "")
    frame = findings_frame([FINDING, whole])
    assert frame["row"].isna().tolist() == [False, True]
    assert frame.loc[0, "row"] == 7
    assert findings_frame([]).columns.tolist() == frame.columns.tolist()
