"""Site and season as random terms: used where they recur, left out in words where they do not."""

import numpy as np
import pandas as pd
import pytest

from trialkit.inference.design import make_design
from trialkit.inference.mixed import fit_mixed


def study(sites: int = 3, seasons: int = 3, blocks: int = 3, treatments: int = 4):
    draw = np.random.default_rng(5)
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


def test_site_and_season_are_crossed():
    frame, design, _ = study(sites=4)
    result = fit_mixed(design, site=frame["site"], season=frame["season"])
    assert {"site:treatment", "season:treatment"} <= set(result.components)
    assert result.record["converged"]


def test_two_seasons_are_too_few_and_it_is_said():
    frame, design, _ = study(seasons=2)
    result = fit_mixed(design, site=frame["site"], season=frame["season"])
    assert "season" not in result.components
    assert any(note.startswith("2 seasons are too few") for note in result.notes)


def test_sites_met_once_are_too_few_and_it_is_said():
    frame, design, _ = study(sites=5, seasons=1)
    plain, named = fit_mixed(design), fit_mixed(design, site=frame["site"])
    assert named.tests.loc[0, "F"] == pytest.approx(plain.tests.loc[0, "F"], rel=1e-12)
    assert any(note.startswith("0 sites met twice are too few") for note in named.notes)


def test_labels_are_matched_by_index():
    frame, design, _ = study()
    shuffled = frame["site"].sample(frac=1, random_state=1)
    first, second = fit_mixed(design, site=frame["site"]), fit_mixed(design, site=shuffled)
    assert second.tests.loc[0, "F"] == pytest.approx(first.tests.loc[0, "F"], rel=1e-12)
