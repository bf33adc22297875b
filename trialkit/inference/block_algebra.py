"""Mixed-model data laid out by independent units, equal units counted once.

The covariance of the observations is block-diagonal: one block per unit (an environment; a block
of a split plot). Units with the same design rows and the same pattern of random effects share
their matrices, so a balanced study costs as much as one of its environments, and the cost of any
study grows linearly with its units. Only the sum and the sum of outer products of the responses of
equal units are kept; the likelihood needs no more.

Units that lost plots are filled up with idle rows to the size of the next larger units where only
few units have their size: such a row has nothing in design, factors and response, and a variance
of one, so that it adds nothing to any sum, and all units together cost one call of each routine.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

RESIDUAL = "residual"
FEW_UNITS = 40
IDLE = -1


@dataclass(frozen=True)
class Stack:
    """Distinct units filled up to one size ``n``; P of them, K components, p fixed effects.

    count    : (P,) how many units look alike.
    x        : (P, n, p) fixed-effect rows.
    members  : (P, n, Q) one where a row has a level: the levels of each factor, then every row for
               itself. The covariance has derivative M_k M_k' by component k, M_k its columns.
    part     : (Q,) which component each of these columns belongs to.
    total    : (P, n) sum of the responses over the like units.
    products : (P, n, n) sum of their outer products.
    idle     : (P, n) one where a row is filling, zero where it is an observation.
    rows     : (U, n) where each unit's rows stood in the input, the number of observations for
               filling; kind, (U,) which P it is.
    """

    count: np.ndarray
    x: np.ndarray
    members: np.ndarray
    part: np.ndarray
    total: np.ndarray
    products: np.ndarray
    idle: np.ndarray
    rows: np.ndarray
    kind: np.ndarray

    def covariance(self, theta: np.ndarray) -> np.ndarray:
        """Return (P, n, n) covariances at components ``theta`` (K,), with one for idle rows."""
        shared, part = self.shared, self.part[: self.shared.shape[2]]
        v = (shared * theta[part]) @ shared.swapaxes(1, 2)
        np.einsum("uii->ui", v)[...] += np.where(self.idle > 0, 1.0, theta[-1])
        return v

    @property
    def shared(self) -> np.ndarray:
        """Return (P, n, F) the columns of ``members`` that rows share: all but the rows' own."""
        return self.members[:, :, : self.members.shape[2] - self.members.shape[1]]


@dataclass(frozen=True)
class BlockData:
    """A whole data set as stacks.

    names  : the K variance components, ``residual`` last.
    n      : number of observations; p, number of fixed effects.
    scale  : what the centred responses were divided by (response units).
    centre : (p,) least squares coefficients taken off beforehand (response units).
    """

    names: tuple[str, ...]
    stacks: tuple[Stack, ...]
    n: int
    p: int
    scale: float
    centre: np.ndarray

    def without(self, name: str) -> "BlockData":
        """Return the same data with one variance component left out."""
        gone = self.names.index(name)
        stacks = tuple(_without(stack, gone) for stack in self.stacks)
        names = tuple(other for other in self.names if other != name)
        return BlockData(names, stacks, self.n, self.p, self.scale, self.centre)


def _without(stack: Stack, gone: int) -> Stack:
    keep = stack.part != gone
    part = stack.part[keep]
    return replace(stack, members=stack.members[:, :, keep], part=part - (part > gone))


def arrange(
    y: np.ndarray, x: np.ndarray, unit: np.ndarray, factors: Mapping[str, np.ndarray]
) -> BlockData:
    """Lay out responses ``y`` (n,), fixed effects ``x`` (n, p) and random factors by unit.

    ``unit`` (n,) says which rows may be correlated; ``factors`` maps a component's name to the
    (n,) labels whose equal values share a random effect. Labels never cross units. ``x`` must have
    full column rank. The least squares fit is taken off and the rest divided by its root mean
    square, which changes no restricted likelihood but keeps the arithmetic accurate.

    >>> import numpy as np
    >>> site = np.repeat(np.arange(3), 2)
    >>> data = arrange(np.array([1.0, 2, 2, 4, 3, 3]), np.ones((6, 1)), site, {"site": site})
    >>> data.names, len(data.stacks), data.stacks[0].count.tolist()
    (('site', 'residual'), 1, [3.0])
    """
    centre = np.linalg.lstsq(x, y, rcond=None)[0]
    remainder = y - x @ centre
    scale = float(np.sqrt(np.mean(remainder**2))) or 1.0
    codes = _codes_within_unit(x, unit, factors)
    z = np.append(remainder / scale, 0.0)
    x_filled = np.vstack([x, np.zeros(x.shape[1])])
    codes = np.vstack([codes, np.full(codes.shape[1], IDLE)])
    stacks = tuple(_stack(z, x_filled, codes, rows) for rows in _units(unit, codes[:-1]))
    return BlockData((*factors, RESIDUAL), stacks, len(y), x.shape[1], scale, centre)


def _units(unit: np.ndarray, codes: np.ndarray) -> list[np.ndarray]:
    """Return (U, n) row numbers of the units of every size, few of a size joined to the larger."""
    order = np.lexsort((*codes.T[::-1], unit))
    starts, sizes = _runs(unit[order])
    found: list[np.ndarray] = []
    waiting: list[np.ndarray] = []
    for size in np.unique(sizes):
        waiting.append(order[starts[sizes == size][:, None] + np.arange(size)])
        if sum(map(len, waiting)) >= FEW_UNITS:
            found, waiting = [*found, _filled(waiting, len(unit))], []
    return [*found, _filled(waiting, len(unit))] if waiting else found


def _filled(parts: list[np.ndarray], filling: int) -> np.ndarray:
    """Return ``parts`` (U_i, n_i) as one array, rows shorter than the last filled up."""
    whole = np.full((sum(map(len, parts)), parts[-1].shape[1]), filling)
    top = 0
    for part in parts:
        whole[top : top + len(part), : part.shape[1]] = part
        top += len(part)
    return whole


def _codes_within_unit(
    x: np.ndarray, unit: np.ndarray, factors: Mapping[str, np.ndarray]
) -> np.ndarray:
    """Return (n, 1 + K) integer codes: the kind of fixed-effect row, then each factor's rank."""
    rows = np.zeros(len(x), dtype=np.int64)
    for column in x.T:
        values, place = np.unique(column, return_inverse=True)
        rows = np.unique(rows * len(values) + place.reshape(-1), return_inverse=True)[1].reshape(-1)
    return np.column_stack([rows, *(_rank_within(unit, labels) for labels in factors.values())])


def _rank_within(unit: np.ndarray, labels: np.ndarray) -> np.ndarray:
    """Return the rank of each label among the labels of its own unit, from 0."""
    unit_codes = np.unique(unit, return_inverse=True)[1].reshape(-1)
    label_codes = np.unique(labels, return_inverse=True)[1].reshape(-1)
    width = int(label_codes.max()) + 1
    pairs, inverse = np.unique(unit_codes * width + label_codes, return_inverse=True)
    first = np.searchsorted(pairs // width, np.arange(unit_codes.max() + 1))
    return inverse.reshape(-1) - first[unit_codes]


def _runs(ordered: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the starts and lengths of the runs of equal values."""
    change = np.flatnonzero(ordered[1:] != ordered[:-1]) + 1
    starts = np.concatenate([[0], change])
    return starts, np.diff(np.append(starts, len(ordered)))


def _stack(z: np.ndarray, x: np.ndarray, codes: np.ndarray, rows: np.ndarray) -> Stack:
    """Return the stack of the units whose rows are the rows of ``rows`` (U, n)."""
    kinds: dict[bytes, int] = {}
    signature = np.ascontiguousarray(codes[rows].reshape(len(rows), -1))
    kind = np.array([kinds.setdefault(row.tobytes(), len(kinds)) for row in signature])
    example, count = np.unique(kind, return_index=True, return_counts=True)[1:]
    responses = z[rows[np.argsort(kind, kind="stable")]]
    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    like = rows[example]
    idle = (like == len(z) - 1) * 1.0
    members, part = _members(codes[like][:, :, 1:], idle)
    return Stack(
        count=count.astype(float),
        x=x[like],
        members=members,
        part=part,
        total=np.add.reduceat(responses, first, axis=0),
        products=_sums_of_products(responses, first, count),
        idle=idle,
        rows=rows,
        kind=kind,
    )


def _members(labels: np.ndarray, idle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (P, n, Q) indicators of levels (``labels``, (P, n, K - 1)) and of rows; their part."""
    factors = np.moveaxis(labels, 2, 0)
    columns = [(level[:, :, None] == np.arange(level.max() + 1)) * 1.0 for level in factors]
    columns.append(np.eye(labels.shape[1]) * (1.0 - idle)[:, :, None])
    widths = [column.shape[2] for column in columns]
    return np.concatenate(columns, axis=2), np.repeat(np.arange(len(columns)), widths)


def _sums_of_products(responses: np.ndarray, first: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Return (P, n, n) sums of outer products over consecutive runs of units."""
    if len(first) == len(responses):
        return responses[:, :, None] * responses[:, None, :]
    runs = (responses[a : a + c] for a, c in zip(first, count, strict=True))
    return np.stack([run.T @ run for run in runs])
