"""The valid small study, for commands to read."""

from tests.intake.conftest import mini, template

__all__ = ["mini", "template"]
