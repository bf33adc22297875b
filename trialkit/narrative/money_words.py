"""Money and chances as a person would write them."""

import math

from trialkit.narrative.numbers import NBSP, fixed


def in_money(value: float) -> str:
    """An amount in whole units of money.

    >>> in_money(-1234.56)
    '−1,235'
    """
    return fixed(value, 0)


def ranged(value: float, low: float, high: float) -> str:
    """An estimate with its interval, in whole units of money.

    >>> ranged(473.2, -587.4, 1516.0)
    '473 (−587 to 1,516)'
    """
    if math.isnan(low) or math.isnan(high):
        return in_money(value)
    return f"{in_money(value)} ({in_money(low)} to {in_money(high)})"


def chance_words(chance: float) -> str:
    """A chance; never as certain, because it is estimated.

    >>> chance_words(0.996).replace(NBSP, " "), chance_words(0.85).replace(NBSP, " ")
    ('over 99 %', '85 %')
    """
    if math.isnan(chance):
        return "–"
    if chance > 0.99 or chance < 0.01:
        return f"over 99{NBSP}%" if chance > 0.5 else f"under 1{NBSP}%"
    return f"{100 * chance:.0f}{NBSP}%"
