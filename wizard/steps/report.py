"""The page of the step "report"."""

from wizard.frame import page
from wizard.views import report_view

page("report", report_view.render)
