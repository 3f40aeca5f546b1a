"""The only bridge between the rows and the wear model: rows -> wear types -> forecast rows."""

from lifecycle.condition.budget import Budget, budget_of
from lifecycle.condition.inputs import rows_for, vehicle_input
from lifecycle.condition.run import assess, assess_one, stored_forecast

__all__ = ["Budget", "assess", "assess_one", "budget_of", "rows_for", "stored_forecast", "vehicle_input"]
