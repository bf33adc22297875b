"""Broken field files, each named for what is wrong with it, and the faults that must be told.

A case replaces one piece of text in one table of the valid small study (see conftest). ``faults``
are (code, row, column, severity), all that there are; ``out`` the rows that drop out.
"""

from typing import NamedTuple

E, Q, N = "error", "question", "note"
LINE = "2026-06-05,101,1,flea_beetle,adult,4,AB,\n"


class Case(NamedTuple):
    name: str
    table: str
    old: str
    new: str
    faults: list[tuple[str, int, str, str]]
    out: list[int] = []  # noqa: RUF012


def one(name: str, table: str, old: str, new: str, code: str, row: int, column: str) -> Case:
    """A case of one error that takes its row out."""
    return Case(name, table, old, new, [(code, row, column, E)], [row])


HEADERS = [
    Case(
        "scouting_without_count_column",
        "scouting",
        "stage,count,",
        "stage,,",
        [("missing_column", 1, "count", E)]
        + [("cell_outside_columns", row, "F", E) for row in range(2, 10)],
        [0],
    ),
    Case(
        "misspelt_column",
        "harvest",
        "weight",
        "wieght",
        [("unknown_column", 1, "wieght", E)],
        [0],
    ),
    Case(
        "unit_in_the_column_name",
        "harvest",
        "weight",
        "Weight (lb)",
        [("unknown_column", 1, "Weight (lb)", E)],
        [0],
    ),
    Case("capitals_and_blanks_in_names", "harvest", "cull_cause", " Cull Cause ", []),
    Case(
        "optional_column_misspelt",
        "scouting",
        "observer",
        "obsever",
        [("unknown_column", 1, "obsever", Q)],
    ),
    Case(
        "extra_column",
        "weather",
        "rain\n2026-01-01,-6,1.5,0\n2026-06-05,12,24.5,0\n2026-06-06,13,26,4.2",
        "rain,sky\n2026-01-01,-6,1.5,0,grey\n2026-06-05,12,24.5,0,\n2026-06-06,13,26,4.2,",
        [("unknown_column", 1, "sky", N)],
    ),
    Case(
        "two_columns_of_one_name",
        "scouting",
        "observer,note",
        "count,note",
        [("duplicate_column", 1, "count", E)],
        [0],
    ),
    Case(
        "no_header_row",
        "weather",
        "date,tmin,tmax,rain\n",
        "",
        [("no_header", 1, "", E)],
        [0],
    ),
    Case(
        "title_rows_above_the_header",
        "scouting",
        "date,plot",
        "Flea beetles 2026,,,,,,,\n,,,,,,,\ndate,plot",
        [("rows_above_header", 1, "", N)],
    ),
    Case(
        "header_repeated_in_the_middle",
        "weather",
        "2026-06-06",
        "date,tmin,tmax,rain\n2026-06-06",
        [("repeated_header", 4, "", N)],
        [4],
    ),
    Case(
        "header_repeated_in_the_middle_with_a_column_named_count",
        "scouting",
        "2026-06-15,101",
        "date,plot,plant,organism,stage,count,observer,note\n2026-06-15,101",
        [("repeated_header", 6, "", N)],
        [6],
    ),
]

ROWS = [
    Case(
        "totals_row",
        "harvest",
        "2026-08-01,202,marketable,,0,0\n",
        "2026-08-01,202,marketable,,0,0\nTotal,,,,38,12.1\n",
        [("totals_row", 7, "", N)],
        [7],
    ),
    Case(
        "sums_without_a_label",
        "harvest",
        "2026-08-01,202,marketable,,0,0\n",
        "2026-08-01,202,marketable,,0,0\n,,,,38,12.1\n",
        [("totals_row", 7, "", N)],
        [7],
    ),
    Case(
        "blank_row_in_the_middle",
        "weather",
        "2026-06-06",
        ",,,\n2026-06-06",
        [("blank_rows", 4, "", N)],
    ),
    Case("blank_rows_at_the_end", "weather", "13,26,4.2\n", "13,26,4.2\n,,,\n\n", []),
    Case(
        "row_typed_twice",
        "scouting",
        LINE,
        LINE + LINE,
        [("duplicate_row", 3, "date", E)],
        [3],
    ),
    Case(
        "two_counts_of_one_plant",
        "scouting",
        LINE,
        LINE + LINE.replace(",4,", ",5,"),
        [("conflicting_rows", 2, "date", E), ("conflicting_rows", 3, "date", E)],
        [2, 3],
    ),
    Case(
        "two_crates_of_one_picking",
        "harvest",
        "2026-08-01,102,marketable,,14,4.4\n",
        "2026-08-01,102,marketable,,14,4.4\n2026-08-01,102,marketable,,3,1.1\n",
        [("repeated_key", 4, "date", Q), ("repeated_key", 5, "date", Q)],
    ),
    Case(
        "two_rows_of_one_day_of_weather",
        "weather",
        "2026-06-06",
        "2026-06-05",
        [("conflicting_rows", 3, "date", E), ("conflicting_rows", 4, "date", E)],
        [3, 4],
    ),
    Case(
        "decimal_comma_splits_a_cell",
        "harvest",
        "10,3.2",
        "10,3,2",
        [("cell_outside_columns", 2, "G", E)],
        [2],
    ),
    Case(
        "remark_beside_the_table",
        "weather",
        "13,26,4.2",
        "13,26,4.2,storm",
        [("cell_outside_columns", 4, "E", Q)],
    ),
    Case(
        "quotation_mark_swallows_rows",
        "scouting",
        "9,AB,windy\n",
        '9,AB,"windy\n',
        [("unreadable", 0, "", E)],
        [0],
    ),
    Case(
        "quotation_marks_around_several_rows",
        "scouting",
        "9,AB,windy\n2026-06-15,102,1,flea_beetle,larva,2,AB,\n",
        '9,AB,"windy\n2026-06-15,102,1,flea_beetle,larva,2,AB,"\n',
        [("open_quote", 6, "note", E)],
        [6],
    ),
    Case(
        "row_cut_off",
        "weather",
        "2026-06-06,13,26,4.2\n",
        "2026-06-06,13",
        [("short_row", 4, "", Q)],
    ),
]

PLACES = [
    one("unknown_plot", "scouting", "05,101", "05,110", "unknown_plot", 2, "plot"),
    one("plot_left_empty", "harvest", "01,201", "01,", "value_missing", 5, "plot"),
    Case(
        "treatment_contradicts_the_layout",
        "scouting",
        "note\n2026-06-05,101,1,flea_beetle,adult,4,AB,",
        "note,treatment\n2026-06-05,101,1,flea_beetle,adult,4,AB,,netting",
        [("treatment_contradicts_layout", 2, "treatment", E)],
        [2],
    ),
    Case(
        "treatment_of_another_study_in_harvest",
        "harvest",
        "weight\n2026-08-01,101,marketable,,10,3.2",
        "weight,treatment\n2026-08-01,101,marketable,,10,3.2,kaolin",
        [("unknown_treatment", 2, "treatment", E)],
        [2],
    ),
    one("undeclared_organism", "scouting", "spider", "spyder", "unknown_organism", 8, "organism"),
    one("undeclared_stage", "scouting", "larva", "pupa", "unknown_stage", 7, "stage"),
    one("stage_left_empty", "scouting", "larva", "", "stage_missing", 7, "stage"),
    one(
        "stage_of_an_organism_without",
        "scouting",
        "spider,",
        "spider,adult",
        "unknown_stage",
        8,
        "stage",
    ),
    one("undeclared_event", "events", "cover_off", "cover_of", "unknown_event", 4, "event"),
    one("event_at_an_unknown_plot", "events", "21,102", "21,302", "unknown_plot", 3, "plot"),
    one("undeclared_rating", "ratings", "20,101,holes", "20,101,hole", "unknown_rating", 2, "what"),
    one(
        "undeclared_cull_cause",
        "harvest",
        "sunscald",
        "sunburn",
        "unknown_cull_cause",
        3,
        "cull_cause",
    ),
    one("cull_without_cause", "harvest", "sunscald", "", "cull_without_cause", 3, "cull_cause"),
    one(
        "marketable_with_cause",
        "harvest",
        "102,marketable,",
        "102,marketable,sunscald",
        "marketable_with_cause",
        4,
        "cull_cause",
    ),
    one("unknown_grade", "harvest", "102,marketable", "102,good", "unknown_grade", 4, "grade"),
]

NUMBERS = [
    one("negative_count", "scouting", "adult,4", "adult,-4", "negative", 2, "count"),
    one("fractional_count", "scouting", "adult,4", "adult,4.5", "fractional", 2, "count"),
    one("fractional_fruit", "harvest", "14,4.4", "14.5,4.4", "fractional", 4, "fruit"),
    one("negative_weight", "harvest", "14,4.4", "14,-4.4", "negative", 4, "weight"),
    one("negative_rain", "weather", "26,4.2", "26,-4.2", "negative", 4, "rain"),
    one("fruit_size_of_zero", "fruit_sizes", "180", "0", "not_positive", 2, "length"),
    one("score_above_ten", "ratings", "holes,6", "holes,60", "out_of_scale", 2, "score"),
    one(
        "score_above_a_hundred",
        "ratings",
        "cover_percent,45",
        "cover_percent,450",
        "out_of_scale",
        4,
        "score",
    ),
    one("score_below_zero", "ratings", "holes,6", "holes,-6", "out_of_scale", 2, "score"),
    one("weight_without_fruit", "harvest", "14,4.4", ",4.4", "weight_without_fruit", 4, "fruit"),
    one("weight_of_no_fruit", "harvest", "14,4.4", "0,4.4", "weight_without_fruit", 4, "fruit"),
    one("fruit_without_weight", "harvest", "14,4.4", "14,", "fruit_without_weight", 4, "weight"),
    one("fruit_of_no_weight", "harvest", "14,4.4", "14,0", "fruit_without_weight", 4, "weight"),
    Case(
        "neither_fruit_nor_weight",
        "harvest",
        "14,4.4",
        ",",
        [("value_missing", 4, "fruit", N)],
        [4],
    ),
    Case("no_count", "scouting", "adult,4", "adult,", [("value_missing", 2, "count", N)], [2]),
    Case("no_size", "fruit_sizes", "190,", ",", [("value_missing", 3, "length", N)], [3]),
    one("tmin_above_tmax", "weather", "12,24.5", "24.5,12", "tmin_above_tmax", 3, "tmin"),
    one("letter_o_for_zero", "scouting", "adult,0", "adult,O", "text_in_number", 3, "count"),
    one("letter_l_for_one", "scouting", "adult,12", "adult,l2", "text_in_number", 9, "count"),
    one("unit_in_the_cell", "harvest", "14,4.4", "14,4.4 kg", "text_in_number", 4, "weight"),
    one("words_in_a_number", "scouting", "adult,4", "adult,many", "text_in_number", 2, "count"),
    one("infinity", "harvest", "14,4.4", "14,inf", "text_in_number", 4, "weight"),
    one(
        "number_too_large_for_a_computer",
        "harvest",
        "14,4.4",
        "14,1e999",
        "text_in_number",
        4,
        "weight",
    ),
    one("decimal_comma", "harvest", "14,4.4", '14,"4,4"', "decimal_comma", 4, "weight"),
    one("comma_in_a_thousand", "scouting", "adult,4", 'adult,"1,204"', "decimal_comma", 2, "count"),
    Case("blanks_around_a_number", "scouting", "adult,4", "adult, 4 ", [("padded", 2, "count", N)]),
    Case("no_break_space", "scouting", "adult,4", "adult,4\u00a0", [("padded", 2, "count", N)]),
    one("spreadsheet_error", "harvest", "14,4.4", "14,#DIV/0!", "formula_error", 4, "weight"),
]

CODES = [
    *(
        one(
            f"undeclared_code_{index}",
            "scouting",
            "adult,4",
            f"adult,{code}",
            "missing_code",
            2,
            "count",
        )
        for index, code in enumerate(("-9999", "-99", "999", "n/a", "NA", ".", "-", "?"))
    ),
    one("undeclared_code_in_plot", "scouting", "05,101", "05,NA", "missing_code", 2, "plot"),
    one(
        "undeclared_code_in_cause",
        "harvest",
        "102,marketable,",
        "102,marketable,n/a",
        "missing_code",
        4,
        "cull_cause",
    ),
    Case(
        "declared_code",
        "scouting",
        "adult,4",
        "adult,n.d.",
        [("value_missing", 2, "count", N)],
        [2],
    ),
    Case(
        "declared_number_code_with_decimals",
        "scouting",
        "adult,4",
        "adult,-999.0",
        [("value_missing", 2, "count", N)],
        [2],
    ),
    Case(
        "large_count_that_may_be_a_code",
        "scouting",
        "adult,4,AB,\n2026-06-05,102,1,flea_beetle,adult,0",
        "adult,999,AB,\n2026-06-05,102,1,flea_beetle,adult,870",
        [("missing_code", 2, "count", Q)],
    ),
    Case("dash_in_a_note", "scouting", "windy", "-", []),
]

DATES = [
    one("impossible_date", "scouting", "2026-06-05", "2026-02-30", "impossible_date", 2, "date"),
    one("impossible_month", "scouting", "2026-06-05", "2026-13-05", "impossible_date", 2, "date"),
    one("date_left_empty", "scouting", "2026-06-05", "", "value_missing", 2, "date"),
    one("date_in_words", "scouting", "2026-06-05", "first visit", "not_a_date", 2, "date"),
    one("spreadsheet_day_number", "scouting", "2026-06-05", "46178", "not_a_date", 2, "date"),
    one("two_digit_year", "scouting", "2026-06-05", "05/06/26", "ambiguous_date", 2, "date"),
    one("ambiguous_date", "scouting", "2026-06-05", "05/06/2026", "ambiguous_date", 2, "date"),
    one("wrong_year", "scouting", "2026-06-05", "2062-06-05", "out_of_season", 2, "date"),
    one("before_the_season", "scouting", "2026-06-05", "2026-04-30", "out_of_season", 2, "date"),
    one(
        "weather_of_another_year", "weather", "2026-01-01", "2025-01-01", "out_of_season", 2, "date"
    ),
    one(
        "day_and_month_changed_over",
        "scouting",
        "2026-06-15,101",
        "2026-10-06,101",
        "swapped_date",
        6,
        "date",
    ),
    Case(
        "day_and_month_changed_over_in_season",
        "scouting",
        "2026-06-05,101",
        "2026-05-06,101",
        [("swapped_date", 2, "date", Q)],
    ),
    Case(
        "unambiguous_other_form",
        "scouting",
        "2026-06-15",
        "6/15/2026",
        [("date_format", 6, "date", N)],
    ),
    Case(
        "month_in_words", "scouting", "2026-06-15", "15 Jun 2026", [("date_format", 6, "date", N)]
    ),
]

LAYOUT = [
    Case(
        "plot_typed_twice",
        "plots",
        "102,1,netting,1,2,8,6,\n",
        "102,1,netting,1,2,8,6,\n102,1,netting,1,2,8,6,\n",
        [("duplicate_plot", 4, "plot", E)],
        [4],
    ),
    Case(
        "plot_listed_twice",
        "plots",
        "102,1,netting,1,2,8,6,\n",
        "102,1,netting,1,2,8,6,\n102,2,netting,1,3,8,6,\n",
        [("duplicate_plot", 3, "plot", E), ("duplicate_plot", 4, "plot", E)],
        [3, 4],
    ),
    Case(
        "treatment_unknown_in_the_study",
        "plots",
        "102,1,netting",
        "102,1,nettting",
        [("unknown_treatment", 3, "treatment", E)],
        [3],
    ),
    Case(
        "plot_without_plants_that_stands",
        "plots",
        "102,1,netting,1,2,8",
        "102,1,netting,1,2,0",
        [("no_plants", 3, "plants", E)],
        [3],
    ),
    Case(
        "plants_left_empty",
        "plots",
        "102,1,netting,1,2,8",
        "102,1,netting,1,2,",
        [("plants_missing", 3, "plants", Q)],
    ),
    Case(
        "fractional_plants",
        "plots",
        "102,1,netting,1,2,8",
        "102,1,netting,1,2,7.5",
        [("fractional", 3, "plants", E)],
        [3],
    ),
    Case(
        "area_of_zero",
        "plots",
        "102,1,netting,1,2,8,6",
        "102,1,netting,1,2,8,0",
        [("not_positive", 3, "area", E)],
        [3],
    ),
    Case(
        "not_lost",
        "plots",
        "102,1,netting,1,2,8,6,",
        "102,1,netting,1,2,8,6,no",
        [("lost_reason", 3, "lost", E)],
        [3],
    ),
]
CASES = [*HEADERS, *ROWS, *PLACES, *NUMBERS, *CODES, *DATES]
