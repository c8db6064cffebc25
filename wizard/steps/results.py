"""The page of the step "results"."""

from wizard.frame import page
from wizard.views import results_view

page("results", results_view.render)
