"""The page of the step "learn"."""

from wizard.frame import page
from wizard.views import learn_view

page("learn", learn_view.render)
