"""The page of the step "verify"."""

from wizard.frame import page
from wizard.views import verify_view

page("verify", verify_view.render)
