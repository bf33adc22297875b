import doctest
import importlib
import pkgutil

import pytest

from trialkit import measures

MODULES = [module.name for module in pkgutil.iter_modules(measures.__path__)]


def test_the_public_formulas_carry_worked_examples():
    finder = doctest.DocTestFinder()
    functions = (
        measures.abbott,
        measures.henderson_tilton,
        measures.area_under_progress_curve,
        measures.insect_days,
        measures.simple_average,
        measures.single_sine,
    )
    assert all(finder.find(function)[0].examples for function in functions)


@pytest.mark.parametrize("name", MODULES)
def test_worked_examples_of_the_docstrings_hold(name):
    module = importlib.import_module(f"trialkit.measures.{name}")
    assert doctest.testmod(module).failed == 0
