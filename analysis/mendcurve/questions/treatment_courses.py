"""Which courses were carried to their end, and what is due next."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from mendcurve.questions.answer import Answer
from mendcurve.questions.spans import from_to, span
from mendcurve.questions.wording import count, listing
from mendcurve.records.records import Records
from mendcurve.timelines import courses as timeline
from mendcurve.timelines.episodes import different_animals, episodes
from mendcurve.timelines.period import Period

NO_COURSES = "Treatment courses and doses are not recorded."
STATUSES = ("completed", "stopped", "left", "past its end", "running")


@dataclass(frozen=True, kw_only=True, eq=False)
class Courses(Answer):
    """Courses that began in a period, and how far each had come by the as-of date."""

    frame: pd.DataFrame
    period: Period
    as_of: pd.Timestamp
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row in all and one a condition: courses by status, doses planned and given, hours covered."""
        return self.frame

    def sentence(self) -> str:
        """Return how many courses began, and how they stand."""
        if not self.recorded:
            return NO_COURSES
        row = self.frame.iloc[0]
        if row["courses"] == 0:
            return f"No course began {from_to(self.period)}."
        words = {
            "completed": "completed",
            "stopped": "stopped early",
            "left": "cut short because the animal left",
            "past its end": "past the planned end with fewer doses recorded as given than planned",
            "running": "still running",
        }
        parts = [f"{row[s.replace(' ', '_')]:,} {w}" for s, w in words.items() if row[s.replace(" ", "_")]]
        return f"Of {count(row['courses'], 'course')} that began {from_to(self.period)}, {listing(parts)}."

    def notes(self) -> tuple[str, ...]:
        """Return what the words mean."""
        return () if not self.recorded else (
            "Completed means that as many doses as planned were given. Courses are followed to the as-of date; one "
            "still running is neither a success nor a failure.",
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class NextDoses(Answer):
    """The next dose of each running course: when, never how much."""

    frame: pd.DataFrame
    as_of: pd.Timestamp
    recorded: bool

    def to_frame(self) -> pd.DataFrame:
        """Return one row a running course, the earliest due first."""
        return self.frame

    def sentence(self) -> str:
        """Return how many courses run, and how many doses are due by the day after the as-of date."""
        if not self.recorded:
            return NO_COURSES
        n = len(self.frame)
        if n == 0:
            return "No course is running."
        soon = int((self.frame["due_at"] < self.as_of + pd.Timedelta(days=2)).sum())
        late = int(self.frame["without_record"].sum())
        tail = f", {late} of them due before with no record yet" if late else ""
        running = f"{count(n, 'course')} {'is' if n == 1 else 'are'} running"
        due = f"{count(soon, 'dose')} {'is' if soon == 1 else 'are'} due"
        return f"{running}; {due} by the day after the as-of date{tail}."

    def notes(self) -> tuple[str, ...]:
        """Return that amounts are the vet's."""
        return (
            "Times follow the interval the vet set. What is given, and how much, is the vet's decision: ask the vet.",
        )


def courses(records: Records, period: Period | None = None) -> Courses:
    """Tell how the courses that began in a period stand at the as-of date, by condition."""
    period = span(records, period)
    table = timeline.courses(records)
    table = table[period.contains(table["first_dose_at"].dt.floor("D"))]
    table = table.assign(condition=table["condition"].fillna("not recorded"))
    whole, by = table.assign(group="all courses"), table.assign(group=table["condition"])
    seen = episodes(records)
    frame = pd.concat([_stand(whole, seen, ["all courses"]), _stand(by, seen)], ignore_index=True)
    frame.attrs.update(
        title="Courses and how they stand",
        units={
            "courses": "courses",
            "animals": "animals",
            **{s.replace(" ", "_"): "courses" for s in STATUSES},
            "doses_planned": "doses",
            "doses_given": "doses",
            "hours_covered": "hours",
            "hours_due": "hours",
        },
    )
    return Courses(frame=frame, period=period, as_of=records.as_of, recorded=bool(len(records["courses"])))


def next_doses(records: Records) -> NextDoses:
    """List the next dose of each running course, by when it is due; never a volume or an amount."""
    table = timeline.courses(records)
    table = table[(table["status"] == "running") & table["next_due_at"].notna()]
    told = table[["on_time", "late", "missed", "refused", "given_as_recorded", "no_record"]].sum(axis=1)
    frame = pd.DataFrame({
        "due_at": table["next_due_at"], "stay_id": table["stay_id"], "species": table["species"],
        "condition": table["condition"], "course_id": table["course_id"], "dose": (told + 1).astype("int64"),
        "of": table["planned"], "without_record": table["next_due_at"] < records.as_of,
        "last_given_at": table["last_given_at"],
    }).sort_values(["due_at", "stay_id"], kind="stable", ignore_index=True)  # fmt: skip
    frame.attrs.update(title="Next doses", units={"dose": "number", "of": "doses"})
    return NextDoses(frame=frame, as_of=records.as_of, recorded=bool(len(records["courses"])))


def _animals(courses: pd.DataFrame, seen: pd.DataFrame) -> int:
    """Count the animals behind courses, each once; a course whose episode is not known is of one animal."""
    known = courses["episode_id"].isin(seen["episode_id"])
    there = different_animals(seen[seen["episode_id"].isin(courses["episode_id"])])
    return there + int(courses.loc[~known, "cluster"].nunique())


def _stand(table: pd.DataFrame, seen: pd.DataFrame, groups: list[str] | None = None) -> pd.DataFrame:
    groups = sorted(table["group"].unique()) if groups is None else groups
    counted = pd.crosstab(table["group"], table["status"]).reindex(index=groups, columns=list(STATUSES), fill_value=0)
    counted.columns = [c.replace(" ", "_") for c in counted.columns]
    by = table.groupby("group")
    known = table[table["planned"].notna()].groupby("group")
    more = pd.DataFrame({
        "courses": by.size(), "animals": pd.Series({name: _animals(rows, seen) for name, rows in by}, dtype="int64"),
        "doses_planned": known["planned"].sum(),
        "doses_given": by["given"].sum(), "hours_covered": by["hours_covered"].sum(),
        "hours_due": by["hours_due"].sum(),
    }).reindex(groups).fillna(0)  # fmt: skip
    whole = ["courses", "animals", "doses_planned", "doses_given"]
    frame = more[["courses", "animals"]].join(counted).join(more.drop(columns=["courses", "animals"]))
    return frame.rename_axis("condition").reset_index().astype({**dict.fromkeys(whole, "int64"), "condition": "str"})
