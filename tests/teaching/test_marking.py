"""The marking sheet: every student of the key with what is true, and a box for each point."""

from html.parser import HTMLParser

import pandas as pd
import pytest

from motorlearn.teaching.marking import POINTS, marking_sheet


class Rows(HTMLParser):
    def __init__(self):
        super().__init__()
        self.rows, self.inside = [], False

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
            self.inside = True

    def handle_endtag(self, tag):
        self.inside = self.inside and tag not in ("td", "th")

    def handle_data(self, data):
        if self.inside:
            self.rows[-1][-1] += data


@pytest.fixture
def key():
    return pd.DataFrame(
        {
            "student": [1, 2],
            "preset": ["laboratory", "null"],
            "true_effect": [0.878, 1.0],
            "answer": ["retention, a < b: 0.81 (95 % CI 0.70 to 0.94; p = .008)", "<b>open</b>"],
            "n_group": [14, 15],
            "n_reference": [15, 16],
            "n_allocated": [32, 32],
            "void_trials": [21, 0],
        }
    )


def rows_of(key):
    reader = Rows()
    reader.feed(marking_sheet(key))
    return reader.rows


def test_each_student_has_a_row_that_tells_the_key(key):
    head, first, second = rows_of(key)
    told = ["1", "laboratory, ratio 0.88", key["answer"][0], "14 and 15 of 32", "21"]
    assert first[:5] == told
    assert second[1:3] == ["null, ratio 1.00", "<b>open</b>"]
    assert len(head) == len(first) == len(second)


def test_there_is_an_empty_box_for_each_point_and_for_the_sum(key):
    head, *students = rows_of(key)
    assert head[5:] == [*(name for name, _ in POINTS), "sum"]
    assert all(row[5:] == [""] * (len(POINTS) + 1) for row in students)


def test_it_says_what_earns_a_point_and_that_students_must_not_see_it(key):
    sheet = marking_sheet(key)
    assert all(what in sheet for _, what in POINTS)
    assert "not for students" in sheet and f"{len(POINTS)} in all" in sheet


def test_it_prints_on_landscape_pages_without_cutting_a_row(key):
    sheet = marking_sheet(key)
    assert "size: A4 landscape" in sheet and "break-inside: avoid" in sheet
