"""What a design must be to answer a question about treatments: the checks behind make_design."""

from collections import Counter
from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from trialkit.errors import AnalysisError
from trialkit.inference.columns_in import refuse_values
from trialkit.inference.labels import natural_order

Names = Mapping[str, str]


def check_roles(names: Names, family: str) -> None:
    """Raise AnalysisError where the parts named do not make a design that can be analysed."""
    if ("row" in names) != ("column" in names):
        raise AnalysisError("A Latin square needs both row and column. Name the other column too.")
    if "whole_plot" in names:
        _check_whole_plots(names)
    if "row" in names and "environment" in names:
        raise AnalysisError(
            "Latin squares over several environments are not combined. Analyse each environment "
            "on its own, or name the blocks instead of row and column."
        )
    if "row" in names and family not in ("normal", "lognormal"):
        raise AnalysisError(
            f"A Latin square is analysed for family 'normal' or 'lognormal', not '{family}'. "
            "Name the rows or the columns as block instead."
        )
    if family == "proportion" and "trials" not in names:
        raise AnalysisError(
            "Family 'proportion' needs trials: the column with the number examined, of which the "
            f"response '{names['response']}' is a part."
        )
    _check_only_with(names, family, "trials", "proportion")
    _check_only_with(names, family, "exposure", "count")


def _check_whole_plots(names: Names) -> None:
    if "block" not in names:
        raise AnalysisError(
            f"A split plot with whole plots of '{names['whole_plot']}' needs block: a whole plot "
            "is one level of that factor in one block."
        )
    if "row" in names:
        raise AnalysisError("A split plot cannot be combined with row and column. Leave them out.")


def is_nested(used: pd.DataFrame) -> bool:
    """Whether each treatment stands on one level of the whole-plot factor only."""
    if "whole_plot" not in used:
        return False
    return bool((used.groupby("treatment", observed=True)["whole_plot"].nunique() == 1).all())


def check_split_plot(used: pd.DataFrame, names: Names, family: str) -> None:
    """Raise AnalysisError for a factorial split plot that no model here answers.

    Treatments nested in whole plots have one for every family, and across environments.
    """
    if "whole_plot" not in names or is_nested(used):
        return
    if "environment" in names:
        raise AnalysisError(
            "A split plot whose treatments stand on several levels of the whole-plot factor cannot "
            "be combined with environment. Analyse each environment on its own, or name each "
            "combination of both factors as a treatment."
        )
    if family not in ("normal", "lognormal"):
        raise AnalysisError(
            f"A split plot whose treatments stand on several levels of '{names['whole_plot']}' is "
            f"analysed for family 'normal' or 'lognormal', not '{family}'. Name each combination "
            "of both factors as a treatment, or analyse each level of the whole-plot factor on its "
            "own."
        )


def _check_only_with(names: Names, family: str, role: str, wanted: str) -> None:
    if role in names and family != wanted:
        raise AnalysisError(
            f"Column '{names[role]}' is named as {role}, which goes with family '{wanted}', not "
            f"'{family}'. Leave out {role} or choose family '{wanted}'."
        )


def check_treatments_left(treatment: np.ndarray, used: pd.DataFrame, names: Names) -> None:
    """Raise AnalysisError for a treatment that lost every row, or where fewer than two are left.

    treatment (n,): the labels of all rows, None where there is none; used: the rows left.
    """
    if len(used) == 0:
        raise AnalysisError(
            f"Column '{names['response']}' has no value in any complete row. "
            "Fill in the values, or choose another response."
        )
    left = list(dict.fromkeys(used["treatment"].to_numpy()))
    gone = natural_order(set(treatment) - {None, *left})
    if gone:
        raise AnalysisError(
            f"Treatment '{gone[0]}' has no value of '{names['response']}' in any plot. Leave its "
            "rows out of the table and say in the report that it could not be judged."
        )
    if len(left) < 2:
        raise AnalysisError(
            f"Column '{names['treatment']}' holds a single treatment ('{left[0]}'). A comparison "
            "needs at least two."
        )


def check_values(used: pd.DataFrame, names: Names, family: str) -> None:
    """Raise AnalysisError for responses, trials or exposures that the family cannot have."""
    response = used["response"].to_numpy()
    if family == "lognormal":
        _refuse(used, names, "response", response <= 0, "has no logarithm",
                "Correct it, or use family 'normal', or 'count' for counts")  # fmt: skip
    if family in ("count", "proportion"):
        _refuse(used, names, "response", response < 0, "is negative, which a count cannot be",
                "Correct it, or use family 'normal'")  # fmt: skip
    if "trials" in names:
        trials = used["trials"].to_numpy()
        _refuse(used, names, "trials", trials < 0, "is negative", "Give the number examined")
        _refuse(used, names, "response", response > trials, "is more than the number examined",
                f"Correct it or column '{names['trials']}'")  # fmt: skip
    if "exposure" in names:
        _refuse(used, names, "exposure", used["exposure"].to_numpy() <= 0, "is not positive",
                "Give the plants or the area examined")  # fmt: skip
    _check_varies(used, names, family)


def _refuse(
    used: pd.DataFrame, names: Names, role: str, bad: np.ndarray, what: str, remedy: str
) -> None:
    if bad.any():
        refuse_values(used[role].rename(names[role]), bad, what, remedy)


def _check_varies(used: pd.DataFrame, names: Names, family: str) -> None:
    """Raise AnalysisError where every plot gave the same; nothing found anywhere is told later."""
    whole = [used[role].to_numpy() for role in ("trials", "exposure") if role in names]
    response = used["response"].to_numpy()
    per = response / whole[0] if whole else response
    told_later = {"count": (0.0,), "proportion": (0.0, 1.0)}.get(family, ())
    if (per != per[0]).any() or per[0] in told_later:
        return
    raise AnalysisError(
        f"Column '{names['response']}' has the same value ({per[0]:g}) in every "
        "plot. Without variation there is nothing to test; report the value itself."
    )


def check_layout(used: pd.DataFrame, names: Names, plots: pd.Series | None = None) -> None:
    """Raise AnalysisError for single blocks, duplicate cells and treatments tied to blocks.

    ``plots`` are labels that tell the plots apart where a block holds a treatment more than once.
    """
    for role in ("block", "row", "column", "whole_plot", "environment"):
        if role in names and len(set(used[role].to_numpy())) < 2:
            raise AnalysisError(_single_level(role, names[role], str(used[role].iloc[0])))
    for role in ("environment",) if "environment" in names else ("block", "row", "column"):
        if role in names:
            _check_connected(used, role, names)
    _check_duplicates(used, names, plots)
    _check_replication(used, names)


def _single_level(role: str, name: str, level: str) -> str:
    remedy = {
        "block": "Leave out block if the plots were completely randomised; if each site was one "
        "block, name the site as block",
        "environment": "Leave out environment to analyse the one at hand",
        "whole_plot": "Leave out whole_plot: there is no whole-plot factor to compare",
    }.get(role, "A Latin square has as many of them as treatments")
    return f"Column '{name}' holds a single {role.replace('_', ' ')} ('{level}'). {remedy}."


def _check_duplicates(used: pd.DataFrame, names: Names, plots: pd.Series | None) -> None:
    if "row" in names:
        cell = [role for role in ("block", "row", "column") if role in names]
    elif "block" in names:
        roles = ("environment", "block", "whole_plot", "treatment")
        cell = [role for role in roles if role in names]
    else:
        return
    if len(set(zip(*(used[role].to_numpy() for role in cell), strict=True))) == len(used):
        return
    told_apart = used if plots is None else used.assign(plot=plots.loc[used.index])
    crossed = "whole_plot" in names and not is_nested(used)
    keys = cell if plots is None or crossed else [*cell, "plot"]
    again = told_apart.duplicated(keys, keep=False).to_numpy()
    if again.any():
        first = used[again].iloc[0]
        rows = used.index[again & (used[cell] == first[cell]).all(axis=1)]
        place = ", ".join(f"{names[role]} '{first[role]}'" for role in cell)
        raise AnalysisError(
            f"Rows {', '.join(map(str, rows))} are all {place}. One row per plot is expected: "
            "average the samples of a plot first; if they are plots of their own, tell them apart "
            "by labels in a column 'plot'; if the block label recurs at several sites, name the "
            "site as environment."
        )


def _check_replication(used: pd.DataFrame, names: Names) -> None:
    if len(used) <= len(set(used["treatment"].to_numpy())):
        raise AnalysisError(
            f"Every treatment of '{names['treatment']}' has one plot only, which leaves nothing "
            "to measure the error with. Replicates are needed."
        )


def _check_connected(used: pd.DataFrame, role: str, names: Names) -> None:
    """Raise AnalysisError where treatments can be compared only across different blocks."""
    pairs = set(zip(used["treatment"].to_numpy(), used[role].to_numpy(), strict=True))
    treatments_in = Counter(level for _, level in pairs)
    if max(treatments_in.values()) == len({treatment for treatment, _ in pairs}):
        return  # one level holds every treatment, and each other level some treatment
    treatments, levels = pd.factorize(used["treatment"]), pd.factorize(used[role])
    t, b = len(treatments[1]), len(levels[1])
    links = coo_matrix((np.ones(len(used)), (treatments[0], t + levels[0])), shape=(t + b, t + b))
    parts, part = connected_components(links, directed=False)
    if parts == 1:
        return
    groups = [natural_order(np.asarray(treatments[1])[part[:t] == i]) for i in range(parts)]
    word = role.replace("_", " ")
    raise AnalysisError(
        f"Treatment and {word} are confounded: column '{names[role]}' never puts "
        f"{_listed(groups[0])} into the same {word} as {_listed(groups[1])}, so their difference "
        f"cannot be told from that between {word}s. Correct the {word} labels, or leave out {word} "
        "if it played no part in the randomisation."
    )


def _listed(labels: list[str]) -> str:
    return " or ".join(f"'{label}'" for label in labels)
