"""The page of the step "compare"."""

from wizard.frame import page
from wizard.views import compare_view

page("compare", compare_view.render)
