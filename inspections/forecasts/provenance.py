"""What an entry keeps of a forecast that was relied on: its figures, the engine and the packages that made
them.
"""

import datetime as dt
from importlib.metadata import version
from typing import Any

from inspections.forecasts.computation import ENGINE
from inspections.forecasts.current_forecasts import standing_run
from inspections.forecasts.forecast_figures import COLUMNS, Figures, figures_hash

PACKAGES = ("numba", "numpy", "scipy")


def packages() -> dict[str, str]:
    """The versions of what computes figures here."""
    return {name: version(name) for name in PACKAGES}


def made_by() -> dict[str, Any]:
    """Engine, packages and run of the parameters that figures are made with now; no run: the fleet is fitted
    as it stands.
    """
    run = standing_run()
    said: dict[str, Any] = {"engine": ENGINE, "packages": packages()}
    if run and not run.parameters.get("young"):
        said["run"] = run.pk
    return said


def words_of_figures(figures: Figures) -> dict[str, str]:
    """The figures as text, those that there are, in the forecast sheet's order."""
    return {name: str(figures[name]) for name in COLUMNS if figures[name] is not None}


def relied(figures: Figures, on: dt.date, **more: Any) -> dict[str, Any]:
    """The body of an entry `forecast_relied_on`."""
    return {
        "figures": figures_hash(figures),
        "on": on,
        "said": words_of_figures(figures),
        **made_by(),
        **more,
    }
