"""The tracks of one stay: each a frame of the same columns, in days since intake."""

from __future__ import annotations

import pandas as pd

from mendcurve.records.records import Records
from mendcurve.timelines import courses as timeline
from mendcurve.timelines.episodes import episodes
from mendcurve.timelines.places import spells
from mendcurve.timelines.weights import weights

TRACKS = ("zone", "condition", "course", "dose", "weight", "target", "milestone")
_LEFT = {"adopted": "new home", "returned to owner": "back to owner", "transferred out": "to another rescue"}


def tracks(records: Records, rows: pd.DataFrame, every: pd.DataFrame) -> pd.DataFrame:
    """Return every track of the stay in ``rows`` (its parts); ``every`` is ``stays(records)``."""
    stay, came = str(rows["stay_id"].iloc[0]), rows["intake_date"].iloc[0]
    ill = episodes(records, rows)
    courses = timeline.courses(records, every)
    doses = timeline.doses(records, every)
    parts = [
        _zones(records, every, stay),
        _conditions(ill),
        _courses(courses[courses["stay_id"] == stay]),
        _doses(doses[doses["stay_id"] == stay]),
        _weights(records, stay),
        _targets(records, stay),
        _milestones(records, rows, ill),
    ]
    frame = pd.concat([p for p in parts if len(p)], ignore_index=True)
    for end in ("from", "to"):
        dates = frame[f"{end}_date"].astype("datetime64[s]").dt.floor("D")
        frame[f"{end}_day"] = (dates - came).dt.days.astype("Int64")
    return frame


def _track(name: str, start: pd.Series, end: pd.Series | None = None, **columns: pd.Series | str) -> pd.DataFrame:
    # Missing dates and values keep their dtype, so that tracks can be joined.
    frame = pd.DataFrame({"from_date": start.astype("datetime64[s]")}).assign(track=name, **columns)
    frame["to_date"] = frame["from_date"] if end is None else end.astype("datetime64[s]")
    frame["value"] = frame["value"].astype("float64") if "value" in frame else float("nan")
    frame["state"] = frame["state"].astype("str") if "state" in frame else ""
    return frame[["track", "from_date", "to_date", "what", "state", "value"]].astype({"what": "str"})


def _zones(records: Records, every: pd.DataFrame, stay: str) -> pd.DataFrame:
    rows = spells(records, every)
    rows = rows[rows["stay_id"] == stay].drop_duplicates(["zone", "from_date"])
    assumed = rows["assumed"].map({True: "assumed", False: ""})
    return _track("zone", rows["from_date"], rows["to_date"], what=rows["zone"], state=assumed)


def _conditions(ill: pd.DataFrame) -> pd.DataFrame:
    rows = ill.drop_duplicates("episode_id")
    return _track("condition", rows["found_on"], rows["end_date"], what=rows["condition"], state=rows["end"])


def _courses(rows: pd.DataFrame) -> pd.DataFrame:
    planned = rows["first_dose_at"] + pd.to_timedelta(rows["hours_due"], unit="h")
    over = planned.astype("datetime64[s]").where(rows["status"] != "running")
    return _track("course", rows["first_dose_at"], over, what=rows["condition"], state=rows["status"])


def _doses(rows: pd.DataFrame) -> pd.DataFrame:
    rows = rows[~rows["state"].isin(["not yet due", "tried again"])]
    when = rows["given_at"].where(rows["given_at"].notna(), rows["due_at"])
    return _track("dose", when, what=rows["condition"], state=rows["state"])


def _weights(records: Records, stay: str) -> pd.DataFrame:
    rows = weights(records)
    rows = rows[(rows["stay_id"] == stay) & (rows["weight_g"] > 0)]
    state = rows["why_not"].where(~rows["usable"], "usable")
    return _track("weight", rows["weighed_on"], what="weight", state=state, value=rows["weight_g"])


def _targets(records: Records, stay: str) -> pd.DataFrame:
    rows = records["targets"]
    rows = rows[rows["stay_id"] == stay]
    return _track("target", rows["set_on"], what="target weight", value=rows["target_g"])


def _milestones(records: Records, rows: pd.DataFrame, ill: pd.DataFrame) -> pd.DataFrame:
    found = [(rows["intake_date"].iloc[0], "arrived")]
    if ill["vet_seen_on"].notna().any():
        found.append((ill["vet_seen_on"].min(), "seen by a vet"))
    clear = ill[ill["end"] == "cleared"].drop_duplicates("episode_id")
    found += list(zip(clear["end_date"], clear["condition"] + " cleared", strict=True))
    ready = records["periods"]
    ready = ready[(ready["stay_id"] == rows["stay_id"].iloc[0]) & (ready["what"] == "ready for a home")]
    found += [(when, "ready for a home") for when in ready["from_date"].sort_values().iloc[:1]]
    gone = rows[rows["outcome_date"].notna()].drop_duplicates(["outcome_date", "outcome"])
    found += list(zip(gone["outcome_date"], gone["outcome"].map(_LEFT).fillna(gone["outcome"]), strict=True))
    frame = pd.DataFrame(found, columns=["on", "what"])
    return _track("milestone", frame["on"], what=frame["what"])
