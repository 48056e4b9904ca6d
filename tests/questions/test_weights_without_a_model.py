"""One series that no model fits must not take the screen, and with it the watch list, away."""

from __future__ import annotations

from mendcurve.errors import InputError
from mendcurve.questions import weights, weights_data


def test_where_no_model_fits_the_screen_still_watches_for_loss_and_says_so(demo, monkeypatch):
    whole = weights.screen(demo).to_frame()

    def no_maximum(*_args, **_more):
        raise InputError("The mixed model's likelihood has no maximum that could be found.")

    monkeypatch.setattr(weights_data, "fit", no_maximum)
    left = weights.screen(demo).to_frame()
    assert set(left["stay_id"]) == set(whole["stay_id"])
    assert (left["state"] == "losing").any()
    assert left["why"].str.contains("what is usual for animals like it cannot be told").any()
    assert not left["why"].str.contains("maximum").any()
