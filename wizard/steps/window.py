"""The page of the step "window"."""

from wizard.frame import page
from wizard.views import window_view

page("window", window_view.render)
