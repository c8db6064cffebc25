"""The page of the step "trials"."""

from wizard.frame import page
from wizard.views import trials_view

page("trials", trials_view.render)
