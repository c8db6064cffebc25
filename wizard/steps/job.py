"""The page of the step "job"."""

from wizard.frame import page
from wizard.views import job_view

page("job", job_view.render)
