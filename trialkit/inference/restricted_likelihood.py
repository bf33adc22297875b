"""The restricted likelihood and its derivatives, summed over stacks of like units.

V = sum over k of theta_k G_k is block-diagonal by unit. With W = V^-1, Phi = (X'W X)^-1 and
P = W - W X Phi X'W,

    score_k     = (y'P G_k P y - tr(P G_k)) / 2
    expected_kl = tr(P G_k P G_l) / 2
    observed_kl = y'P G_k P G_l P y - tr(P G_k P G_l) / 2

and P never needs to be formed: with p_k = X'W G_k W X and q_kl = X'W G_k W G_l W X,
tr(P G_k P G_l) = tr(W G_k W G_l) - 2 tr(Phi q_kl) + tr(Phi p_k Phi p_l). The same p_k and q_kl are
all that Kenward and Roger's covariance needs.

Sources: Patterson & Thompson 1971, Biometrika 58:545; Searle, Casella & McCulloch 1992, Variance
Components, ch. 6.
"""

from dataclasses import dataclass
from functools import reduce

import numpy as np

from trialkit.inference.block_algebra import BlockData, Stack

LARGE_UNIT = 64


@dataclass(frozen=True)
class Evaluation:
    """The restricted likelihood and its derivatives at ``theta``, for the scaled, centred data.

    loglik   : restricted log likelihood, constants as in lme4.
    beta     : (p,) generalised least squares coefficients; phi, (p, p) inverse of X'V^-1 X.
    score    : (K,); expected and observed, (K, K) information.
    p_terms  : (K, p, p) X'W G_k W X; q_terms, (K, K, p, p) X'W G_k W G_l W X.
    """

    theta: np.ndarray
    loglik: float
    beta: np.ndarray
    phi: np.ndarray
    score: np.ndarray
    expected: np.ndarray
    observed: np.ndarray
    p_terms: np.ndarray
    q_terms: np.ndarray


def evaluate(data: BlockData, theta: np.ndarray) -> Evaluation | None:
    """Return likelihood and derivatives at ``theta``, or None where V is not positive definite.

    >>> import numpy as np
    >>> from trialkit.inference.block_algebra import arrange
    >>> data = arrange(np.array([1.0, 3.0]), np.ones((2, 1)), np.arange(2), {})
    >>> at = evaluate(data, np.array([2.0]))            # the scale is 1
    >>> at.score.tolist(), round(at.loglik, 4)          # -(log 2 pi + 2 log 2 + 1) / 2
    ([0.0], -2.1121)
    """
    factored = [_inverse(stack, theta) for stack in data.stacks]
    pairs = [(s, f[0]) for s, f in zip(data.stacks, factored, strict=True) if f is not None]
    if len(pairs) < len(factored):
        return None
    log_det = sum(f[1] for f in factored if f is not None)
    sides = [_normal_equations(stack, w) for stack, w in pairs]
    information, right = (sum(side) for side in zip(*sides, strict=True))
    sign, log_det_information = np.linalg.slogdet(information)
    if sign <= 0:
        return None
    phi = np.linalg.inv(information)
    beta = phi @ right
    log_det += float(log_det_information)
    parts = [_parts(stack, w, beta) for stack, w in pairs]
    sums = [reduce(np.add, part) for part in zip(*parts, strict=True)]
    return _assemble(data, theta, (beta, phi, log_det), sums)


def is_positive_definite(data: BlockData, theta: np.ndarray) -> bool:
    """Say whether the covariance of every unit is positive definite at ``theta``."""
    try:
        for stack in data.stacks:
            np.linalg.cholesky(stack.covariance(theta))
    except np.linalg.LinAlgError:
        return False
    return True


def _inverse(stack: Stack, theta: np.ndarray) -> tuple[np.ndarray, float] | None:
    """Return (P, n, n) inverses of V and their log determinants summed over units."""
    v = stack.covariance(theta)
    try:
        diagonal = np.diagonal(np.linalg.cholesky(v), axis1=1, axis2=2)
        inverse = np.linalg.inv(v)
    except np.linalg.LinAlgError:
        return None
    return inverse, float(2 * stack.count @ np.log(diagonal).sum(axis=1))


def _normal_equations(stack: Stack, w: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return one stack's share of X'W X (p, p) and X'W y (p,)."""
    p = stack.x.shape[2]
    wx = w @ stack.x
    left = (stack.count[:, None, None] * wx).reshape(-1, p)
    return left.T @ stack.x.reshape(-1, p), wx.reshape(-1, p).T @ stack.total.reshape(-1)


def _parts(stack: Stack, w: np.ndarray, beta: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return one stack's share of every sum over units that the derivatives are made of.

    With G_k = M_k M_k' all traces of products with G_k and G_l are sums over the block k, l of
    M'W M and the like, and no product of full matrices is needed for each component.
    """
    count = stack.count[:, None, None]
    part = (stack.part[:, None] == np.arange(stack.part[-1] + 1)) * 1.0
    rest = stack.total - stack.count[:, None] * (stack.x @ beta)
    mw, within = _sandwiched(stack, w)
    a, reached = mw @ stack.x, mw @ rest[:, :, None]
    if stack.count.max() == 1:  # no two units alike: outer products need no sums
        quadratic, seen = (
            np.sum(w @ rest[:, :, None] * rest[:, :, None]),
            reached @ _turned(reached),
        )
        weighted, squared = within, within**2
    else:
        spread = _spread(stack, beta)
        quadratic, seen = np.sum(w * spread), mw @ spread @ _turned(mw)
        weighted, squared = count * within, count * within**2
    own = a * part.T[:, None, :, None]
    return (
        quadratic,
        np.einsum("uqq->q", seen) @ part,
        np.einsum("uqq->q", weighted) @ part,
        part.T @ squared.sum(axis=0) @ part,
        part.T @ (within * seen).sum(axis=0) @ part,
        _gram(count * a, own),
        _cross(own, weighted @ own),
        (own.swapaxes(2, 3) @ reached).sum(axis=1)[:, :, 0],
    )


def _sandwiched(stack: Stack, w: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return M'W (P, Q, n) and M'W M (P, Q, Q).

    The last n columns of M are the rows themselves, which need no product; in small units the
    product costs less than leaving it out.
    """
    if stack.members.shape[1] < LARGE_UNIT:
        mw = stack.members.swapaxes(1, 2) @ w
        return mw, mw @ stack.members
    shared, live = stack.shared, 1.0 - stack.idle
    mw = np.concatenate([shared.swapaxes(1, 2) @ w, live[:, :, None] * w], axis=1)
    within = np.concatenate([mw @ shared, mw * live[:, None, :]], axis=2)
    return mw, within


def _spread(stack: Stack, beta: np.ndarray) -> np.ndarray:
    """Return (P, n, n) sums over like units of the outer products of their residuals."""
    fitted = stack.x @ beta
    cross = stack.total[:, :, None] * fitted[:, None, :]
    outer = stack.count[:, None, None] * fitted[:, :, None] * fitted[:, None, :]
    return stack.products - cross - _turned(cross) + outer


def _turned(matrices: np.ndarray) -> np.ndarray:
    return matrices.swapaxes(1, 2)


def _gram(a: np.ndarray, own: np.ndarray) -> np.ndarray:
    """Return (K, p, p) sums over units and levels of a' own_k."""
    k, p = len(own), a.shape[-1]
    return a.reshape(-1, p).T @ own.reshape(k, -1, p)


def _cross(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Return (K, K, p, p) sums over units and levels of left_k' right_l."""
    k, p = len(left), left.shape[-1]
    rows_left, rows_right = left.reshape(k, 1, -1, p), right.reshape(1, k, -1, p)
    return rows_left.swapaxes(2, 3) @ rows_right


def _assemble(
    data: BlockData,
    theta: np.ndarray,
    solved: tuple[np.ndarray, np.ndarray, float],
    sums: list[np.ndarray],
) -> Evaluation:
    """Combine the sums over units into score and information."""
    beta, phi, log_det = solved
    quadratic, by_component, trace, traces, curved, p_terms, q_terms, reach = sums
    k, phi_p = len(theta), phi @ p_terms
    lost = np.einsum("kaa->k", phi_p)
    crossed = phi_p.reshape(k, -1) @ phi_p.swapaxes(1, 2).reshape(k, -1).T
    trace_pp = traces - 2 * q_terms.reshape(k, k, -1) @ phi.ravel() + crossed
    curved = (curved + curved.T) / 2 - reach @ phi @ reach.T
    constant = (data.n - data.p) * np.log(2 * np.pi)
    return Evaluation(
        theta=theta,
        loglik=float(-(constant + log_det + quadratic) / 2),
        beta=beta,
        phi=phi,
        score=(by_component - trace + lost) / 2,
        expected=trace_pp / 2,
        observed=curved - trace_pp / 2,
        p_terms=p_terms,
        q_terms=q_terms,
    )
