"""The data dictionary: every column of every table is in it, and it reads as well as any page."""

import datetime as dt
from pathlib import Path

import pytest

from tests.publish.conftest import browser  # noqa: F401
from trialkit.intake import check_study
from trialkit.publish.archive import Deposit
from trialkit.publish.archive.dictionary import KINDS, dictionary_page
from trialkit.publish.archive.tables import archive_tables
from trialkit.study import KINDS as ALL_KINDS
from trialkit.study import Study

VERSIONS = {"python": "3.11.7", "trialkit": "0.1.0"}


@pytest.fixture(scope="module")
def tables(example_study: Study):
    told = {"seasons": example_study.seasons[:1], "protocol_decisions": ()}
    one = Study.model_validate({**example_study.model_dump(), **told})
    one._folder = example_study.folder
    return archive_tables(one, check_study(one), private=False)


@pytest.fixture(scope="module")
def page(example_study: Study, tables, tmp_path_factory) -> Path:
    deposit = Deposit(example_study, "x_2026-11-05", dt.date(2026, 11, 5), False, VERSIONS)
    path = tmp_path_factory.mktemp("dictionary") / "DICTIONARY.html"
    path.write_text(dictionary_page(deposit, tables), encoding="utf-8")
    return path


def test_every_column_is_told_with_its_meaning(page, tables) -> None:
    text = page.read_text(encoding="utf-8")
    for table in tables:
        assert f"Columns of {table.name}" in text
        for field in table.fields:
            assert f"<code>{field['name']}</code>" in text
    assert "weight of these fruit together" in text


def test_every_kind_of_measure_has_plain_words() -> None:
    assert set(KINDS) == set(ALL_KINDS)


def test_what_was_typed_into_study_toml_stays_text(example_study, tables) -> None:
    told = {**example_study.model_dump(), "title": '"><script>alert(1)</script>'}
    study = Study.model_validate(told)
    deposit = Deposit(study, "x", dt.date(2026, 11, 5), False, VERSIONS)
    assert "<script" not in dictionary_page(deposit, tables)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_axe_finds_nothing_to_object_to(browser, page, width, scheme) -> None:  # noqa: F811
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    shown = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    shown.goto(page.as_uri())
    result = axe.run(shown)
    sideways = shown.evaluate("document.documentElement.scrollWidth")
    shown.close()
    assert result.response["passes"], "axe looked at nothing"
    assert result.violations_count == 0, result.generate_report()
    assert sideways <= width
