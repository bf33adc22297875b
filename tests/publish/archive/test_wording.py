"""The texts of an archive: nothing typed into study.toml can become markup, every file is valid."""

import datetime as dt

import pytest
import yaml

from trialkit.publish.archive import Deposit, notes_on
from trialkit.publish.archive.wording import citation, licence_text, plain, readme
from trialkit.study import Study

VERSIONS = {"python": "3.11.7", "trialkit": "0.1.0", "pandas": "3.1.1"}


def deposit(study: Study, **told: object) -> Deposit:
    changed = Study.model_validate({**study.model_dump(), **told})
    return Deposit(changed, "x_2026-11-05", dt.date(2026, 11, 5), False, VERSIONS)


@pytest.fixture
def bare(example_study) -> Study:
    told = {"licence": "", "authors": (), "citation": "", "archive": {}}
    return Study.model_validate({**example_study.model_dump(), **told})


@pytest.mark.parametrize(
    "typed", ["<script>alert(1)</script>", "a | b", "![x](http://x)", "`rm`", "*b*"]
)
def test_markup_in_a_title_stays_text(bare, typed) -> None:
    shown = readme(deposit(bare, title=typed)).splitlines()[0]
    assert typed not in shown
    assert "<" not in plain(typed)


def test_what_is_missing_is_noted_by_name(bare) -> None:
    assert [note.code for note in notes_on(deposit(bare))] == ["no_licence", "no_authors"]
    odd = deposit(bare, licence="ask", authors=({"name": "Testing Institute"},))
    assert [note.code for note in notes_on(odd)] == ["unknown_licence"]
    known = deposit(bare, licence="CC0-1.0", authors=({"name": "Testwell, Ada"},))
    assert notes_on(known) == ()


def test_citation_is_the_yaml_that_it_should_be(bare) -> None:
    author = {"name": 'Test"well: #1, Ada', "orcid": "0000-0002-1825-0097", "affiliation": "Há"}
    told = {"authors": (author,), "licence": "cc-by-4.0", "title": "a: b # c", "citation": "x 'y'"}
    found = yaml.safe_load(citation(deposit(bare, **told)))
    assert found["title"] == "a: b # c: data and reports"
    assert found["authors"][0]["family-names"] == 'Test"well: #1'
    assert found["authors"][0]["affiliation"] == "Há"
    assert found["license"] == "CC-BY-4.0"
    assert found["references"][0]["title"] == "x 'y'"
    assert found["date-released"] == "2026-11-05"


def test_without_authors_the_citation_still_names_somebody(bare) -> None:
    found = yaml.safe_load(citation(deposit(bare)))
    assert found["authors"] == [{"name": "Authors not stated"}]


def test_the_licence_text_says_where_the_licence_stands(bare) -> None:
    assert "No licence is stated" in licence_text(bare)
    text = licence_text(deposit(bare, licence="cc0-1.0").study)
    assert "CC0-1.0" in text
    assert "https://creativecommons.org/publicdomain/zero/1.0/" in text
