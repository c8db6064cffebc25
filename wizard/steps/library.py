"""The page of the step "library"."""

from wizard.frame import page
from wizard.views import library_view

page("library", library_view.render)
