"""From the link scale, where models are linear, to the scale on which people read the response."""

import numpy as np
from scipy import special

from trialkit.inference.estimates import Link


def to_response(value: np.ndarray, link: Link) -> np.ndarray:
    """Return the inverse link: the value itself, its exponential, or the logistic proportion.

    >>> to_response(np.array([0.0]), "log"), to_response(np.array([0.0]), "logit")
    (array([1.]), array([0.5]))
    """
    value = np.asarray(value, dtype=float)
    if link == "log":
        return np.asarray(np.exp(np.minimum(value, 700.0)))
    return np.asarray(special.expit(value)) if link == "logit" else value


def slope(value: np.ndarray, link: Link) -> np.ndarray:
    """Return the derivative of the inverse link, for standard errors by the delta method."""
    response = to_response(value, link)
    if link == "log":
        return response
    return response * (1 - response) if link == "logit" else np.ones_like(response)
