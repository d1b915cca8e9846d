"""What growing the trees needs."""

import importlib

import pytest


@pytest.fixture(scope="session")
def ensemble(do_without):
    try:
        return importlib.import_module("sklearn.ensemble")
    except ImportError:
        do_without("scikit-learn is not installed (pip install -r tests/external/requirements.lock)")
