"""Site and season as random terms: used where they recur, left out in words where they do not."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import AnalysisError
from trialkit.inference import mixed
from trialkit.inference.analysis import Analysis
from trialkit.inference.analyze import analyze
from trialkit.inference.design import make_design
from trialkit.inference.mixed import fit_mixed
from trialkit.inference.site_season import site_season_choices


def study(sites: int = 3, seasons: int = 3, blocks: int = 3, treatments: int = 4, seed: int = 5):
    draw = np.random.default_rng(seed)
    shape = (sites, seasons, blocks, treatments)
    s, y, b, t = (a.ravel() for a in np.indices(shape))
    response = (
        draw.normal(size=sites)[s]
        + draw.normal(size=(sites, treatments))[s, t]
        + draw.normal(size=(sites, seasons))[s, y]
        + draw.normal(size=len(s))
    )
    frame = pd.DataFrame({"y": response, "site": s, "season": y, "b": b, "t": t})
    frame["e"] = frame["season"] * 10 + frame["site"]
    design = make_design(frame, response="y", treatment="t", block="b", environment="e")
    return frame, design, response.reshape(shape)


def mean_square_ratio(y: np.ndarray) -> float:
    """Return MS(treatment) / MS(treatment x site) of a balanced study."""
    sites, _, _, treatments = y.shape
    cell = y.mean(axis=(1, 2))
    effect = cell.mean(axis=0) - cell.mean()
    rest = cell - cell.mean(axis=0) - cell.mean(axis=1, keepdims=True) + cell.mean()
    top = sites * (effect**2).sum() / (treatments - 1)
    return float(top / ((rest**2).sum() / ((sites - 1) * (treatments - 1))))


def test_balanced_sites_give_the_ratio_to_treatment_by_site():
    frame, design, y = study()
    result = fit_mixed(design, site=frame["site"])
    assert result.tests.loc[0, "F"] == pytest.approx(mean_square_ratio(y), rel=1e-8)
    assert result.tests.loc[0, "df2"] == pytest.approx(6, rel=1e-8)
    assert {"site", "site:treatment", "environment:treatment"} <= set(result.components)


def test_season_enters_beside_site_where_treatments_answer_seasons():
    frame, design, _ = study(sites=4)
    swing = 3 * np.random.default_rng(8).normal(size=(3, 4))
    moved = design.frame.assign(
        response=design.frame["response"] + swing[frame["season"], frame["t"]]
    )
    result = fit_mixed(replace(design, frame=moved), site=frame["site"], season=frame["season"])
    assert {"site:treatment", "season:treatment"} <= set(result.components)
    assert result.record["converged"]


def test_season_that_does_not_show_stays_out_and_it_is_said():
    frame, design, y = study(seed=5)
    result = fit_mixed(design, site=frame["site"], season=frame["season"])
    assert "season" not in result.components
    assert any(note.startswith("No season x treatment interaction shows") for note in result.notes)
    assert result.tests.loc[0, "F"] == pytest.approx(mean_square_ratio(y), rel=1e-8)


def test_two_sites_leave_the_first_place_to_three_seasons():
    frame, design, _ = study(sites=2)
    result = fit_mixed(design, site=frame["site"], season=frame["season"])
    assert "season:treatment" in result.components


def test_two_sites_and_two_seasons_are_too_few_and_it_is_said():
    frame, design, _ = study(sites=2, seasons=2)
    result = fit_mixed(design, site=frame["site"], season=frame["season"])
    assert set(result.components) & {"site", "season"} == set()
    assert any(note.startswith("2 seasons are too few") for note in result.notes)


def test_sites_met_once_are_too_few_and_it_is_said():
    frame, design, _ = study(sites=5, seasons=1)
    plain, named = fit_mixed(design), fit_mixed(design, site=frame["site"])
    assert named.tests.loc[0, "F"] == pytest.approx(plain.tests.loc[0, "F"], rel=1e-12)
    assert any(note.startswith("0 sites met twice are too few") for note in named.notes)


def test_two_of_three_sites_that_come_back_are_enough():
    frame, design, _ = study(sites=3, seasons=2)
    rest = frame[frame["e"] != 12]
    part = replace(design, frame=design.frame.loc[rest.index])
    result = fit_mixed(part, site=frame["site"], season=frame["season"])
    assert "site:treatment" in result.components
    plain = fit_mixed(part)
    assert result.means.pair_df[0, 1] < plain.means.pair_df[0, 1]


def test_one_site_that_comes_back_is_too_few_and_it_is_said():
    frame, design, _ = study(sites=3, seasons=2)
    part = replace(design, frame=design.frame[~frame["e"].isin([11, 12])])
    result = fit_mixed(part, site=frame["site"])
    assert "site:treatment" not in result.components
    assert any(note.startswith("1 site met twice is too few") for note in result.notes)


@pytest.mark.parametrize(("environments", "enters"), [(6, False), (5, True)])
def test_season_enters_more_easily_where_hardly_an_environment_is_to_spare(environments, enters):
    site, season = np.indices((3, 2)).reshape(2, -1)[:, :environments].repeat(2, axis=1)
    environment, treatment = np.arange(environments).repeat(2), np.tile([0, 1], environments)
    fullest = site_season_choices(
        environment, treatment, {"site": site, "season": season}, lambda tested, kept: 0.4
    )[0]
    assert "site:treatment" in fullest.factors
    assert ("season:treatment" in fullest.factors) == enters


@pytest.mark.parametrize("asked_for", [(), ("site",), ("site", "season")])
def test_terms_that_are_asked_for_are_taken_without_a_rule(asked_for):
    frame, design, _ = study()
    result = fit_mixed(design, site=frame["site"], season=frame["season"], recurring=asked_for)
    found = [name for name in ("site", "season") if f"{name}:treatment" in result.components]
    assert found == list(asked_for)
    assert not any("preliminary" in note for note in result.notes)


def test_terms_of_a_role_without_a_column_are_refused():
    frame, _, _ = study()
    with pytest.raises(AnalysisError, match="recurring names 'season'"):
        asked(frame, environment="e", site="site", recurring=["season"])


def test_labels_are_matched_by_index():
    frame, design, _ = study()
    shuffled = frame["site"].sample(frac=1, random_state=1)
    first, second = fit_mixed(design, site=frame["site"]), fit_mixed(design, site=shuffled)
    assert second.tests.loc[0, "F"] == pytest.approx(first.tests.loc[0, "F"], rel=1e-12)


def test_where_the_fit_fails_environments_alone_answer_and_it_is_said(monkeypatch):
    frame, design, _ = study()
    sound = mixed._sound_inference

    def failing(model, fits):
        return None if "site" in model.factors else sound(model, fits)

    monkeypatch.setattr(mixed, "_sound_inference", failing)
    result = mixed.fit_mixed(design, site=frame["site"])
    assert result.tests.loc[0, "F"] == pytest.approx(mixed.fit_mixed(design).tests.loc[0, "F"])
    assert any(note.startswith("The variances of site and site x tr") for note in result.notes)


def asked(frame: pd.DataFrame, **more) -> Analysis:
    return analyze(frame, response="y", treatment="t", block="b", **more)


def test_analyze_makes_the_environment_of_site_and_season():
    frame, design, _ = study()
    found = asked(frame, site="site", season="season")
    expected = fit_mixed(design, site=frame["site"], season=frame["season"])
    assert found.design.names["environment"] == "site and season"
    assert found.model.tests.loc[0, "F"] == pytest.approx(expected.tests.loc[0, "F"], rel=1e-9)
    assert "site:treatment" in found.to_dict()["variance_components"]


def test_analyze_takes_a_site_beside_an_environment_of_its_own():
    frame, design, _ = study()
    found = asked(frame, environment="e", site="site")
    expected = fit_mixed(design, site=frame["site"])
    assert found.model.tests.loc[0, "F"] == pytest.approx(expected.tests.loc[0, "F"], rel=1e-9)


def test_environment_of_two_sites_is_refused():
    frame, _, _ = study()
    with pytest.raises(AnalysisError, match="into one environment"):
        asked(frame.assign(e=frame["season"]), environment="e", site="site")


def test_row_without_a_site_is_left_out_or_refused():
    frame, _, _ = study()
    holed = frame.astype({"site": object})
    holed.loc[3, "site"] = None
    assert [d.row for d in asked(holed, site="site", season="season").design.dropped] == [3]
    with pytest.raises(AnalysisError, match="Row 3, column 'site': the site is missing"):
        asked(holed, environment="e", site="site")


def test_unknown_site_column_is_refused():
    frame, _, _ = study()
    with pytest.raises(AnalysisError, match="no column 'plce'"):
        asked(frame, site="plce", season="season")
