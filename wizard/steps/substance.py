"""The page of the step "substance"."""

from wizard.frame import page
from wizard.views import substance_view

page("substance", substance_view.render)
