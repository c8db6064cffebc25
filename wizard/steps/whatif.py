"""The page of the step "whatif"."""

from wizard.frame import page
from wizard.views import whatif_view

page("whatif", whatif_view.render)
