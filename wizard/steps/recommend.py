"""The page of the step "recommend"."""

from wizard.frame import page
from wizard.views import recommend_view

page("recommend", recommend_view.render)
