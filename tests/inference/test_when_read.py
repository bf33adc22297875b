"""Values of a fit are worked out when somebody reads them, and once only."""

from trialkit.inference.when_read import WhenRead


def test_a_value_is_worked_out_at_the_first_reading_and_kept():
    asked: list[str] = []
    record = WhenRead({"ratios": lambda: asked.append("ratios") or len(asked)})
    assert list(record) == ["ratios"]
    assert asked == []
    assert (record["ratios"], record["ratios"], asked) == (1, 1, ["ratios"])
