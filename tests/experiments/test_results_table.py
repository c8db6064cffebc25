"""Bench tables: what is understood, and what is refused with a row, a reason and a cure."""

from __future__ import annotations

import pytest

from experiments.results_table import read_table

A, B = "recovery_percent:diethyl phthalate", '"recovery_percent:1,2-dichlorobenzene"'
SETTING = "set_temperature_c,ramp_rate_mbar_per_min,end_pressure_mbar"


@pytest.fixture
def read(dossier):
    return lambda data: read_table(data, dossier.job, dossier.trials)


def refusal(table):
    assert not table.is_clean
    assert all(r.reason and r.cure for r in table.rejected)
    return [(r.row, r.reason) for r in table.rejected]


def test_one_row_a_trial_gives_means(read):
    table = read(f"trial,run_time_min,outcome,{A},{B}\nT1,41.5,finished,88.1,<5\nT2,,not dry,,\n")
    assert table.rejected == ()
    first, second = table.trials
    assert (first.trial, first.run_time_min, first.outcome) == ("T1", 41.5, "finished")
    assert first.recovery_percent == {"diethyl phthalate": 88.1, "1,2-dichlorobenzene": "<5"}
    assert (second.run_time_min, second.outcome, second.recovery_percent) == (None, "not dry", {})


def test_one_row_a_vessel_gives_lists_in_vessel_order(read):
    table = read(
        f"trial,vessel,run_time_min,{A},{B}\n"
        "T1,3,41.5,91,55\nT1,1,41.5,88.1,<5\nT1,4,,120.5,\n"
    )
    (trial,) = table.trials
    assert trial.recovery_percent == {
        "diethyl phthalate": [88.1, None, 91.0, 120.5],
        "1,2-dichlorobenzene": ["<5", None, 55.0, None],
    }
    assert trial.rows == (2, 3, 4)


@pytest.mark.parametrize("delimiter", [";", "\t", ","])
def test_delimiters_are_told_apart(read, delimiter):
    b = B if delimiter == "," else B.strip('"')
    lines = [["trial", "run_time_min", A, b, "remark"], ["T1", "41.5", "88.1", "55", "a b"]]
    table = read("\n".join(delimiter.join(line) for line in lines))
    assert table.rejected == ()
    assert table.trials[0].recovery_percent["1,2-dichlorobenzene"] == 55.0


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_of_spreadsheet_programs_are_understood(read, encoding):
    text = f"trial;run_time_min;{A};remark\nT1;41,5;88,1;Kühler über 5 °C\n"
    table = read(text.encode(encoding))
    assert table.rejected == ()
    assert table.trials[0].remark == "Kühler über 5 °C"
    assert bool(table.notes) == (encoding == "cp1252")


def test_decimal_commas_between_semicolons(read):
    table = read(f"trial;run_time_min;{A}\nT1;41,5;88,125\nT2;1,5;<5,5\n")
    assert table.rejected == ()
    assert table.trials[0].recovery_percent == {"diethyl phthalate": 88.125}
    assert table.trials[1].recovery_percent == {"diethyl phthalate": "<5.5"}


@pytest.mark.parametrize(("text", "row", "said"), [
    (f"trial;run_time_min;{A}\nT1;41;1,234\n", 2, "1,234' could mean 1.234 or 1234"),
    (f"trial;run_time_min;{A}\nT1;41.5;1,234\n", 2, "could mean 1.234 or 1234"),
    (f"trial;run_time_min;{A}\nT1;41,5;88.1\n", 2, "both decimal commas and points"),
    (f"trial,run_time_min,{A}\nT1,41,5,88\n", 2, "4 cells for 3 columns"),
    (f"trial,run_time_min,{A},remark\nT1,41.5,88,1\n", 2, "88,1 could be one number"),
    (f"trial,run_time_min,{A},{B},remark\nT1,41.5,88,1\n", 2, "88,1 could be one number"),
    (f"trial;run_time_min;{A}\nT1;41;1.234,5\n", 2, "separator of thousands"),
    (f"trial;run_time_min;{A}\nT1;41;1 234\n", 2, "separator of thousands"),
    (f"trial;run_time_min;{A}\nT1;1'234;88\n", 2, "separator of thousands"),
])
def test_numbers_that_read_two_ways_are_refused(read, text, row, said):
    ((found, reason),) = refusal(read(text))
    assert found == row
    assert said in reason


def test_a_blank_trial_cell_is_a_new_trial_each_time(read):
    table = read(f"trial,{SETTING},run_time_min,{A}\n,50,60,30,33,90\n,50,60,30,35,91\n")
    assert table.rejected == ()
    assert [t.trial for t in table.trials] == [None, None]
    assert [t.run_time_min for t in table.trials] == [33.0, 35.0]
    assert table.trials[0].setting == {
        "set_temperature_c": 50.0, "ramp_rate_mbar_per_min": 60.0, "end_pressure_mbar": 30.0,
    }


def test_vessel_rows_without_a_trial_are_one_new_trial_until_a_vessel_repeats(read):
    rows = [f",50,60,30,{vessel},33,{90 + vessel}" for vessel in (1, 2, 3, 4, 1, 2)]
    table = read(f"trial,{SETTING},vessel,run_time_min,{A}\n" + "\n".join(rows))
    assert table.rejected == ()
    assert [t.rows for t in table.trials] == [(2, 3, 4, 5), (6, 7)]
    assert "Rows 2, 3, 4 and 5 give no trial" in table.notes[0]


def test_vessel_rows_of_two_new_trials_may_be_mixed_when_the_run_order_tells_them(read):
    rows = [f",{run},50,60,30,{vessel},33,90" for vessel in (1, 2) for run in (1, 2)]
    table = read(f"trial,run_order,{SETTING},vessel,run_time_min,{A}\n" + "\n".join(rows))
    assert [t.rows for t in table.trials] == [(2, 4), (3, 5)]


def test_a_value_written_in_two_ways_is_one_value(read):
    """Case of words, and decimals of a setting, by which rows without an id find together."""
    table = read(f"trial,vessel,run_time_min,outcome,{A}\nT1,1,41,Finished,88\n"
                 "T1,2,41.0,finished,89\n")
    assert table.rejected == ()
    assert table.trials[0].outcome == "finished"
    table = read(f"trial;run_order;{SETTING.replace(',', ';')};vessel;run_time_min;{A}\n"
                 ";1;50;60;30;1;33;90\n;1;50,0;60;30,0;2;33;91\n")
    assert table.rejected == ()
    assert [t.rows for t in table.trials] == [(2, 3)]


@pytest.mark.parametrize(("text", "row", "said"), [
    ("", 0, "empty"),
    ("   \n \n", 0, "empty"),
    ("just some words\n", 0, "no header row"),
    (f"trial,run_time_min,{A}\n", 0, "no rows"),
    (f"trial,run_time_min,{A}\nT1,41,88\nT2,,\n", 3, "holds no results"),
    (f"trial,run_time_min,{A}\nT9,41,88\n", 2, "no trial 'T9'"),
    (f"trial,run_time_min,{A}\nT1,,88\n", 2, "needs its run time"),
    (f"trial,run_time_min,{A}\nT1,-3,88\n", 2, "not possible"),
    (f"trial,run_time_min,{A}\nT1,0,88\n", 2, "not possible"),
    (f"trial,run_time_min,{A}\nT1,nan,88\n", 2, "not a number"),
    (f"trial,run_time_min,{A}\nT1,inf,88\n", 2, "not a number"),
    (f"trial,run_time_min,{A}\nT1,1e99,88\n", 2, "not possible"),
    (f"trial,run_time_min,{A}\nT1,{'9' * 400},88\n", 2, "finite number"),
    (f"trial,run_time_min,{A}\nT1,41,-2\n", 2, "not possible"),
    (f"trial,run_time_min,{A}\nT1,41,1001\n", 2, "not possible"),
    (f"trial,run_time_min,{A}\nT1,41,n.d.\n", 2, "not a number"),
    (f"trial,run_time_min,{A}\nT1,41,<0\n", 2, "not possible"),
    (f"trial,run_time_min,outcome,{A}\nT1,41,fine,88\n", 2, "Outcome 'fine'"),
    ("trial,run_time_min,recovery_percent:caffeine\nT1,41,88\n", 0, "'caffeine' is not an"),
    (f"trial,run_time_min,outcom,{A}\nT1,41,finished,88\n", 0, "'outcom' is not known"),
    (f"Trial,run_time_min,{A}\nT1,41,88\n", 0, "'Trial' is not known"),
    (f"trial,run_time_min,{A.upper()}\nT1,41,88\n", 0, "is not known"),
    (f"trial,run_time_min,{A},{A}\nT1,41,88,88\n", 0, "stands twice"),
    (f'trial,run_time_min,{A},remark\nT1,41,88,"spilt\nT2,42,89,\n', 0, "cannot be read"),
    (f"trial,vessel,run_time_min,{A}\nT1,1,41,88\nT1,blank,41,0.2\n", 3, "blank has no recovery"),
    (f"trial,vessel,run_time_min,{A}\nT1,1,41,88\n,reference,,99\n", 3,
     "reference has no recovery"),
    (f"trial,run_time_min,{A}\nT1,41,88\nT1,41,89\n", 3, "stands twice"),
    (f"trial,vessel,run_time_min,{A}\nT1,1,41,88\nT1,1,41,89\n", 3, "Vessel 1 stands twice"),
    (f"trial,vessel,run_time_min,{A}\nT1,5,41,88\n", 2, "Vessel 5 does not exist"),
    (f"trial,vessel,run_time_min,{A}\nT1,1.5,41,88\n", 2, "does not exist"),
    (f"trial,vessel,run_time_min,{A}\nT1,1,41,88\nT1,,41,89\n", 3, "others none"),
    (f"trial,vessel,run_time_min,{A}\nT1,1,41,88\nT1,2,42,89\n", 3, "different values of run_t"),
    (f"trial,vessel,run_time_min,outcome,{A}\nT1,1,41,finished,8\nT1,2,41,not dry,9\n", 3,
     "different values of outcome"),
    (f"trial,{SETTING},run_time_min,{A}\nT1,46,50,40,41,88\n", 2, "but T1 stands at 45"),
    (f"trial,{SETTING},run_time_min,{A}\n,46,50,,41,88\n", 2, "end_pressure_mbar is missing"),
    (f"trial,{SETTING},run_time_min,{A}\n,46,50,0,41,88\n", 2, "must be at least 0.001"),
])
def test_what_cannot_be_taken_is_refused_with_its_row(read, text, row, said):
    found = refusal(read(text))
    assert (row, True) in [(r, said in reason) for r, reason in found], found


def test_every_refused_row_is_named_at_once(read):
    table = read(f"trial,run_time_min,{A}\nT1,x,88\nT2,41,y\nT9,41,88\n,41,88\n")
    assert [r.row for r in table.rejected] == [2, 3, 4, 5]
    assert table.trials == ()


def test_columns_without_a_place_become_remarks_and_forecasts_are_left_out(read):
    table = read(
        f"trial,reason,expected_run_time_min,run_time_min,{A},measured temperature,remark\n"
        "T1,worth it,40,41,88,44.8,spilt a drop\n"
    )
    assert table.rejected == ()
    assert table.trials[0].remark == "spilt a drop; measured temperature: 44.8"


@pytest.mark.parametrize(("header", "row", "said"), [
    ("recovery %:diethyl phthalate", "31.5", "'recovery_percent:diethyl phthalate' meant"),
    ("Diethyl phthalate", "31.5", "'recovery_percent:diethyl phthalate' meant"),
    ("result", "not dry", "holds the outcome 'not dry'"),
])
def test_a_result_under_another_title_is_not_taken_for_a_remark(read, header, row, said):
    table = read(f"trial,run_time_min,{header}\nT1,150,{row}\n")
    (rejected,) = table.rejected
    assert said in f"{rejected.reason} {rejected.cure}"


def test_a_comma_in_a_title_needs_quotation_marks(read):
    table = read("trial,run_time_min,recovery_percent:1,2-dichlorobenzene\nT1,41,88\n")
    assert "quotation marks" in table.rejected[0].cure


def test_lines_may_end_with_a_carriage_return_alone(read):
    table = read(f"trial,run_time_min,{A}\rT1,41,88\rT2,42,87\r".encode())
    assert [t.trial for t in table.trials] == ["T1", "T2"]


def test_what_is_made_of_columns_is_said(read):
    table = read(f"trial,run_time_min,operator,{A}\nT1,41,Ada,88\n")
    assert table.is_clean
    assert any("'operator' is not known; what stands there is kept as a remark" in n
               for n in table.notes)


def test_a_recovery_in_a_row_remarked_as_a_blank_is_left_out_and_said(read):
    table = read(f"trial,vessel,run_time_min,{A},remark\nT1,1,41,88,\nT1,2,41,0.2,blank\n")
    assert table.rejected == ()
    assert table.trials[0].recovery_percent == {"diethyl phthalate": [88.0, None, None, None]}
    assert table.notes == ("What is remarked as a blank has its recoveries left out (T1: vessel "
                           "2). Take the remark away if a sample was in that vessel.",)


def test_blanks_of_a_whole_table_are_told_once(read):
    """Once it was a line for every vessel and analyte."""
    table = read(f"trial,vessel,run_time_min,{A},{B},remark\n" + "".join(
        f"{t},{v},41,{88 if v != blank else 0.2},{90 if v != blank else 0.1},"
        f"{'blank' if v == blank else ''}\n"
        for t, blank in (("T1", 2), ("T2", 3)) for v in (1, 2, 3)))
    assert [n for n in table.notes if "blank" in n] == [
        "What is remarked as a blank has its recoveries left out (T1: vessel 2; T2: vessel 3). "
        "Take the remark away if a sample was in that vessel."]


def test_a_warning_of_a_new_trial_names_the_row_where_it_begins(read):
    table = read(f"trial,{SETTING},run_time_min,{A},remark\n,45,50,60,41,88,\n"
                 ",45,50,60,41,0.2,blank\n")
    assert ["(New trial in row 3: the row)" in note for note in table.notes] == [True]


@pytest.mark.parametrize(("rows", "said"), [
    ("T1,1,0.6,88\nT1,2,0.6,87\n", "are these minutes?"),
    ("T1,1,2460,88\nT1,2,2460,87\n", "longer than the 120 min the job allows"),
    ("T1,1,41,0.88\nT1,2,41,0.91\n", "not fractions"),
    ("T1,1,41,88\nT1,2,41,0.91\nT1,3,41,90\n", "vessel 2 has 0.91 % of diethyl phthalate"),
])
def test_what_looks_like_a_slip_is_pointed_out_but_not_refused(read, rows, said):
    table = read(f"trial,vessel,run_time_min,{A}\n{rows}")
    assert table.is_clean
    assert sum(said in note for note in table.notes) == 1
    usual = read(f"trial,vessel,run_time_min,{A}\nT1,1,41,88\nT1,2,41,60\nT1,3,41,<5\n")
    assert usual.notes == ()


def test_lines_before_the_header_and_comments_are_passed_over(read):
    table = read(f"Bench sheet of bench1\n# keep dry\ntrial,run_time_min,{A}\n# half\nT1,41,88\n")
    assert table.rejected == ()
    assert table.trials[0].rows == (5,)


def test_a_number_sign_that_opens_another_column_than_the_trial_is_no_comment(read):
    table = read(f"bottle,trial,run_time_min,{A}\n#1,T1,41,88\n#2,T2,42,89\n")
    assert table.rejected == ()
    assert [t.remark for t in table.trials] == ["bottle: #1", "bottle: #2"]


def test_further_vessels_of_a_recorded_trial_need_no_second_run_time(dossier):
    dossier.record("T1", run_time_min=41.0, recovery_percent={"diethyl phthalate": [88.0]})
    table = read_table(f"trial,vessel,{A}\nT1,2,90\n", dossier.job, dossier.trials)
    assert table.rejected == ()
    assert table.trials[0].run_time_min == 41.0


def test_a_run_time_without_an_outcome_does_not_become_that_of_an_unfinished_run(dossier):
    dossier.record("T1", run_time_min=None, outcome="not dry", recovery_percent={})
    table = read_table(f"trial,vessel,run_time_min,{A}\nT1,1,38,90\n", dossier.job,
                       dossier.trials)
    assert table.trials[0].outcome == "finished"  # which the record then refuses


FOUND = "found_ug:diethyl phthalate"


def amounts(*rows, header=f"trial;vessel;run_time_min;{FOUND};corrected"):
    return "\n".join([header, *rows])


def test_recoveries_are_worked_out_from_amounts(read):
    """(found - blank) / mean of the references, by hand: (9.1 - 0.1) / 9.0 = 100 %."""
    table = read(amounts("T1;1;41,5;9,1", "T1;2;;8,2", "T1;3;;<0,9", "T1;blank;;0,1",
                         "T1;reference 1;;8,8", "T1;reference 2;;9,2"))
    assert table.rejected == ()
    (trial,) = table.trials
    assert trial.recovery_percent == {"diethyl phthalate": [100.0, 90.0, "<10.00", None]}
    assert trial.blank_percent == {"diethyl phthalate": pytest.approx(1.0)}  # 0.1 of 10 spiked
    assert not trial.corrected
    assert "found 9.1 8.2 <0.9 –; reference 8.8 9.2; blank 0.1; spiked 10" in trial.remark


def test_the_blank_may_sit_in_a_vessel_and_references_may_serve_all_trials(read):
    header = f"trial;vessel;run_time_min;{FOUND};remark"
    table = read(amounts("T1;1;41;9.1;", "T1;2;;0.1;blank", "T2;1;50;4.5;",
                         ";reference;;9.0;", header=header))
    assert table.rejected == ()
    first, second = table.trials
    assert first.recovery_percent == {"diethyl phthalate": [100.0, None, None, None]}
    assert second.recovery_percent == {"diethyl phthalate": [50.0, None, None, None]}


def test_no_remark_is_cut_off_by_what_is_worked_out(read):
    """Amounts of many vessels and analytes stand before what was typed in the remark."""
    header = f"trial;vessel;run_time_min;{FOUND};remark"
    typed = "; ".join(f"vessel rinsed {n}" for n in range(150))
    table = read(amounts(f'T1;1;41.5;9.1;"{typed}"', "T1;reference;;9.0;", header=header))
    assert table.rejected == ()
    assert table.trials[0].remark.endswith(typed)
    too_long = read(amounts(f"T1;1;41.5;9.1;{'x' * 20_001}", "T1;reference;;9.0;", header=header))
    assert "longer than 20000" in refusal(too_long)[0][1]


def test_a_standard_added_before_evaporation_makes_them_corrected(read):
    table = read(amounts("T1;1;41.5;9.1;yes", "T1;reference;;9.0;"))
    assert table.trials[0].corrected
    assert any("losses are hidden" in note for note in table.notes)


@pytest.mark.parametrize(("rows", "said"), [
    (("T1;1;41.5;9.1", "T1;blank;;3.2", "T1;reference;;9.0"), "The blank holds 32 % of the spike"),
    (("T1;1;41.5;9.1",), "Nothing was found in an unevaporated reference"),
    (("T1;1;41.5;0.1", "T1;blank;;0.4", "T1;reference;;9.0"), "less was found than in the blank"),
    (("T1;1;41.5;lots", "T1;reference;;9.0"), "'lots'"),
    (("T1;1;41.5;-1", "T1;reference;;9.0"), "An amount of -1 µg is not possible"),
    (("T1;;41.5;9.1", "T1;reference;;9.0"), "name no vessel"),
    (("T1;1;41.5;9.1;maybe", "T1;reference;;9.0"), "'maybe' in the column corrected"),
    (("T1;1;41.5;9.1", "T1;blank 1;;1", "T1;blank 2;;1", "T1;reference;;9.0"), "Two blanks"),
])
def test_amounts_that_give_no_recovery_are_refused(read, rows, said):
    assert said in " ".join(reason for _, reason in refusal(read(amounts(*rows))))


def test_amounts_and_a_recovery_of_one_analyte_contradict_each_other(read):
    header = f"trial;vessel;run_time_min;{FOUND};{A}"
    table = read(amounts("T1;1;41.5;9.1;88", "T1;reference;;9.0;", header=header))
    assert "both amounts found and a recovery" in refusal(table)[0][1]


def test_a_misspelt_outcome_is_no_disagreement_of_the_rows(read):
    table = read(f"trial,vessel,outcome,{A}\nT1,1,boil-over,20\nT1,2,boilover,21\n")
    assert refusal(table) == [(3, "Outcome 'boilover' is not known.")]
    told = read(f"trial,vessel,outcome,{A}\nT1,1,boil-over,20\nT1,2,aborted,21\n")
    assert "different values of outcome" in refusal(told)[0][1]
