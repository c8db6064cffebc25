"""The page of the step "transfer"."""

from wizard.frame import page
from wizard.views import transfer_view

page("transfer", transfer_view.render)
