"""A trial as it was laid out: what grows where, what each treatment does here, and when."""

import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np

from trialkit.simulate.truth import Truth
from trialkit.study import Study


@dataclass(frozen=True)
class Trial:
    """A laid-out trial: what grows where, and what each treatment does here."""

    truth: Truth
    place: SimpleNamespace
    causes: tuple[str, ...]
    effects: tuple[SimpleNamespace, ...]
    own: Mapping[str, np.ndarray]  # E(t) of beetles, fruit and culls: (treatments, ...)
    treatment: np.ndarray
    block: np.ndarray
    rng: np.random.Generator

    def each(self, name: str) -> np.ndarray:
        """Return what every treatment states under ``name``."""
        return np.array([getattr(effect, name) for effect in self.effects])

    def spread(self, about: Mapping[str, Any]) -> np.ndarray:
        """Draw block and plot effects with the standard deviations of ``about``."""
        blocks = self.rng.normal(0, about["block_sd"], self.block.max() + 1)
        return blocks[self.block] + self.rng.normal(0, about["plot_sd"], self.block.size)


def stream(seed: int, place: SimpleNamespace, name: str) -> np.random.Generator:
    """A stream of its own for each site-season and purpose, so that one never shifts another."""
    key = zlib.crc32(f"{place.season} {place.site} {name}".encode())
    return np.random.default_rng([seed, key])


def lay_out(
    study: Study, truth: Truth, place: SimpleNamespace, seed: int, deviations: bool
) -> Trial:
    """Randomise the treatments within blocks and draw their deviations in this site-season."""
    effects = tuple(truth.treatments[name] for name in study.treatment_ids)
    causes = tuple(cause.id for cause in study.cull_causes)
    rng = stream(seed, place, "environment")
    sd = np.array([effect.yield_sd for effect in effects])
    own = {
        "beetles": rng.normal(0, [effect.beetles_sd for effect in effects]),
        "fruit": rng.normal(-(sd**2) / 2, sd),  # exp() of it has mean one
        "culls": rng.normal(0, truth.culls["environment_sd"], (len(effects), len(causes))),
    }
    own["culls"][0] = 0.0  # the check is the reference of every odds ratio
    own = own if deviations else {name: 0 * values for name, values in own.items()}
    rng = stream(seed, place, "plots")
    order = rng.permuted(np.tile(np.arange(len(effects)), (place.blocks, 1)), axis=1)
    block = np.repeat(np.arange(place.blocks), len(effects))
    return Trial(truth, place, causes, effects, own, order.ravel(), block, rng)
