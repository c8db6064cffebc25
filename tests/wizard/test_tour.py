"""The tour stops at pages that exist, in the order of the job, and ends."""

from __future__ import annotations

from wizard import navigation
from wizard.view_models.tour import TEXTS, stop_at


def test_each_stop_leads_to_the_next_page_of_the_job():
    key, seen = next(iter(TEXTS)), []
    while key is not None:
        stop = stop_at(key)
        seen.append(key)
        assert stop.number == len(seen) <= stop.of == len(TEXTS)
        key = stop.after
    order = [s.key for s in navigation.STEPS if s.section == navigation.JOB_SECTION]
    assert seen == [k for k in order if k in TEXTS] == list(TEXTS)


def test_it_can_be_read_in_under_two_minutes():
    """Silent reading of non-fiction: 238 words a minute (Brysbaert 2019, J. Mem. Lang. 109)."""
    words = sum(len(text.split()) for text in TEXTS.values())
    assert words / 238 < 1.5, "half a minute stays for turning pages"


def test_the_other_pages_have_no_stop():
    assert stop_at("compare") is None
