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

import numpy as np

from trialkit.inference.block_algebra import BlockData, Stack


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
    information = sum(np.einsum("u,uia,uib->ab", s.count, w @ s.x, s.x) for s, w in pairs)
    right = sum(np.einsum("uia,ui->a", w @ s.x, s.total) for s, w in pairs)
    sign, log_det_information = np.linalg.slogdet(information)
    if sign <= 0:
        return None
    phi = np.linalg.inv(information)
    beta = phi @ right
    log_det += float(log_det_information)
    parts = [_parts(stack, w, beta) for stack, w in pairs]
    sums = [np.sum(part, axis=0) for part in zip(*parts, strict=True)]
    return _assemble(data, theta, (beta, phi, log_det), sums)


def _inverse(stack: Stack, theta: np.ndarray) -> tuple[np.ndarray, float] | None:
    """Return (P, n, n) inverses of V and their log determinants summed over units."""
    v = stack.covariance(theta)
    try:
        diagonal = np.diagonal(np.linalg.cholesky(v), axis1=1, axis2=2)
        inverse = np.linalg.inv(v)
    except np.linalg.LinAlgError:
        return None
    return inverse, float(2 * stack.count @ np.log(diagonal).sum(axis=1))


def _parts(stack: Stack, w: np.ndarray, beta: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return one stack's share of every sum over units that the derivatives are made of."""
    count, kernels = stack.count[:, None, None], stack.kernels
    rest, spread = _residuals(stack, beta)
    b = w @ spread @ w
    wx, wg = w @ stack.x, w @ kernels
    gwx, wr = kernels @ wx, (w @ rest[:, :, None])
    return (
        np.sum(w * spread),
        np.tensordot(kernels, b, axes=3),
        np.tensordot(kernels, count * w, axes=3),
        _inner(count * wg, wg.swapaxes(2, 3)),
        _inner(wg, kernels @ b),
        _gram(count * wx, gwx),
        _cross(count * gwx, w @ gwx),
        (gwx.swapaxes(2, 3) @ wr).sum(axis=1)[:, :, 0],
    )


def _residuals(stack: Stack, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (P, n) sums of residuals over like units and (P, n, n) of their outer products."""
    fitted = stack.x @ beta
    cross = stack.total[:, :, None] * fitted[:, None, :]
    outer = stack.count[:, None, None] * fitted[:, :, None] * fitted[:, None, :]
    rest = stack.total - stack.count[:, None] * fitted
    return rest, stack.products - cross - cross.swapaxes(1, 2) + outer


def _inner(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Return (K, K) sums over all entries of a_k times b_l."""
    return a.reshape(len(a), -1) @ b.reshape(len(b), -1).T


def _gram(wx: np.ndarray, gwx: np.ndarray) -> np.ndarray:
    """Return (K, p, p) sums over units and rows of wx' gwx_k."""
    k, p = len(gwx), wx.shape[-1]
    return wx.reshape(-1, p).T @ gwx.reshape(k, -1, p)


def _cross(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Return (K, K, p, p) sums over units and rows of left_k' right_l."""
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
    phi_p = phi @ p_terms
    lost = np.einsum("kaa->k", phi_p)
    trace_pp = (
        traces - 2 * np.einsum("ab,klba->kl", phi, q_terms) + np.einsum("kab,lba->kl", phi_p, phi_p)
    )
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
