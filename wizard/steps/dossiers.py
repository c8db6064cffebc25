"""The page of the step "dossiers"."""

from wizard.frame import page
from wizard.views import dossiers_view

page("dossiers", dossiers_view.render)
