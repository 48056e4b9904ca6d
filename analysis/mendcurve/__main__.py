"""The command: mendcurve connect, check, report, template, demo, lab."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

from mendcurve.errors import InputError, nearest

app = typer.Typer(
    name="mendcurve",
    help="Outcomes of a reptile and amphibian rescue, from the records it keeps.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
)

RecordsPath = Annotated[Path, typer.Argument(metavar="RECORDS", help="Folder of spreadsheets, or one workbook.")]
SettingsPath = Annotated[Path | None, typer.Option("--settings", help="A records.toml that lies elsewhere.")]


@app.command()
def connect(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of spreadsheets as they are.")],
    synonyms: Annotated[
        Path | None, typer.Option("--synonyms", help="A CSV of your words for our tables, headings and codes.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="File to write, instead of FOLDER/records.toml.")] = None,
) -> None:
    """Look at your spreadsheets and propose how they are read: a records.toml with reasons and questions.

    Exit code 0: no question is open; 1: some are; 2: nothing could be read.
    """
    from mendcurve.documents import load
    from mendcurve.records.connecting import telling
    from mendcurve.records.connecting.asking import lines_to_answer
    from mendcurve.records.connecting.proposing import propose
    from mendcurve.records.connecting.writing import write

    proposal = propose(folder, synonyms=synonyms)
    written, why = write(proposal.body, out or folder / "records.toml")
    said = telling.lines_of(proposal)
    try:
        said += telling.tried(load(folder, settings=written))
    except InputError as error:
        said += telling.not_tried(error)
        readable = False
    else:
        readable = True
    said += ["", *asked] if (asked := lines_to_answer([f for one in proposal.told for f in one.feeds])) else []
    said += ["", f"Written: {written}" + (f" ({why})" if why else "")]
    for line in [*said, *telling.next_steps(folder, written, proposal.questions, readable=readable)]:
        print(line)
    raise typer.Exit(1 if proposal.questions or not readable else 0)


@app.command()
def check(
    records: Annotated[
        Path | None, typer.Argument(metavar="RECORDS", help="Folder of spreadsheets, or one workbook.")
    ] = None,
    settings: SettingsPath = None,
    out: Annotated[Path, typer.Option("--out", help="Folder for the findings and the mending list.")] = Path("check"),
    against: Annotated[Path | None, typer.Option("--against", help="Older records of the same register.")] = None,
    rules: Annotated[bool, typer.Option("--rules", help="Say how cells are read, and read nothing.")] = False,
) -> None:
    """Say what to mend in the records.

    Exit code 0: no row waits to be mended; 1: some are set aside until they are; 2: the records cannot be read.
    """
    from mendcurve.documents import load
    from mendcurve.documents.against import against_lines, differences
    from mendcurve.documents.checking import report_lines, write
    from mendcurve.records.comparing import compare
    from mendcurve.records.findings import SET_ASIDE
    from mendcurve.records.rules import rules_text

    if rules:
        print(rules_text())
        raise typer.Exit(0)
    if records is None:
        raise InputError("check needs the records to read.", remedy="Write: mendcurve check FOLDER")
    loaded = load(records, settings=settings)
    for line in report_lines(loaded):
        print(line)
    extra = []
    if against is not None:
        difference = compare(loaded, load(against, settings=_settings_of(against, records, settings)))
        extra.append(differences(difference))
        for line in against_lines(difference):
            print(line)
    folder = records if records.is_dir() else records.parent
    written = write(loaded, out, folder, extra)
    how = "" if loaded.findings.empty else f" (save it as corrections.xlsx in {folder}, and fill it in there)"
    print(f"All findings, to work through: {written}{how}")
    # A row the rescue has taken out itself is set aside, but waits for nobody.
    raise typer.Exit(1 if (loaded.findings["effect"] == SET_ASIDE).any() else 0)


def _settings_of(older: Path, newer: Path, given: Path | None) -> Path | None:
    """Return the settings the older records are read with: their own, else those of the newer."""
    if given is not None or ((older if older.is_dir() else older.parent) / "records.toml").is_file():
        return given
    beside = (newer if newer.is_dir() else newer.parent) / "records.toml"
    return beside if beside.is_file() else None


@app.command()
def report(
    name: Annotated[str, typer.Argument(metavar="NAME", help="funder, planning, all (both), or a notebook's name.")],
    records: RecordsPath,
    start: Annotated[str | None, typer.Option("--from", help="First day of the period, like 2025-11-01.")] = None,
    end: Annotated[str | None, typer.Option("--to", help="Last day of the period.")] = None,
    as_of: Annotated[str | None, typer.Option("--as-of", help="Use no fact later than this day.")] = None,
    grant: Annotated[str | None, typer.Option("--grant", help="The grant the report is about, by its id.")] = None,
    animal: Annotated[str | None, typer.Option("--animal", help="The animal or stay whose path is shown.")] = None,
    public: Annotated[
        bool | None, typer.Option("--public/--inside", help="For readers outside the rescue, or for the rescue.")
    ] = None,
    since_days: Annotated[int | None, typer.Option("--since", help="Days since the last watch list.")] = None,
    out: Annotated[Path, typer.Option("--out", help="Folder to write into.")] = Path("reports"),
    settings: SettingsPath = None,
    formats: Annotated[Literal["html"], typer.Option("--formats", help="What to write.")] = "html",
) -> None:
    """Write a report.

    Exit code 0: it is whole; 1: a part of it could not be made; 2: the records or an option must be mended.
    """
    given = {
        "start": start,
        "end": end,
        "as_of": as_of,
        "grant": grant,
        "animal": animal,
        "public": public,
        "since_days": since_days,
    }
    failed = False
    for each, options in _plan(name, {key: value for key, value in given.items() if value is not None}):
        failed |= _build(each, records, out, settings, options)
    raise typer.Exit(1 if failed else 0)


@app.command()
def template(
    file: Annotated[Path, typer.Argument(metavar="FILE.xlsx", help="The workbook to make.")],
) -> None:
    """Make an empty workbook to keep records in."""
    from mendcurve.records.template import write_template

    write_template(file)
    print(f"Made {file}")


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder to write into.")],
) -> None:
    """Write the records of an invented rescue, to try everything on."""
    from mendcurve import demo as invented

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(
            "The demo records are written into a new or an empty folder only, so that nothing of yours is lost.",
            [f"{folder} is not empty" if folder.is_dir() else f"{folder} is a file"],
            "Give another folder.",
        )
    invented.write(folder)
    print(f"Written: {folder}. Try: mendcurve report all {folder}")


@app.command()
def lab(records: RecordsPath) -> None:
    """Open JupyterLab on the notebooks, with these records chosen."""
    from mendcurve.documents import load, notebooks
    from mendcurve.documents.opening import CHOSEN

    load(records)
    folder = notebooks.folder()
    if folder.parent == notebooks.PACKAGE:  # an installed copy stays as it is; work on one of your own
        own = Path("mendcurve-notebooks")
        own.mkdir(exist_ok=True)
        for path in sorted(folder.glob("*.ipynb")):
            if not (own / path.name).exists():
                shutil.copy(path, own)
        folder = own
    there = {**os.environ, CHOSEN: str(records.resolve())}
    raise typer.Exit(subprocess.call([sys.executable, "-m", "jupyterlab", str(folder)], env=there))


# What the options are called in the notebooks.
OPTION = {
    "start": "--from",
    "end": "--to",
    "as_of": "--as-of",
    "grant": "--grant",
    "animal": "--animal",
    "public": "--public or --inside",
    "since_days": "--since",
}


def _plan(name: str, given: dict[str, object]) -> list[tuple[str, dict[str, object]]]:
    """Return each report to write with its own options; refuse an option none of them takes."""
    from mendcurve.documents import notebooks, parameters

    wanted = notebooks.REPORTS if name == "all" else (name,)
    taken = {each: set(parameters.parameters(notebooks.read(each))) for each in wanted}
    for option in given:
        if not any(option in known for known in taken.values()):
            takes = sorted(OPTION[key] for known in taken.values() for key in known if key in OPTION)
            raise InputError(f'The report "{name}" takes no {OPTION[option]}.', [f"it takes: {', '.join(takes)}"])
    return [(each, {k: v for k, v in given.items() if k in known}) for each, known in taken.items()]


def _build(name: str, records: Path, out: Path, settings: Path | None, options: dict[str, object]) -> bool:
    """Write one report, showing progress; return whether a part of it failed."""
    from mendcurve.documents import build

    with typer.progressbar(length=1, label=f"{name} report", file=sys.stderr) as bar:

        def progress(done: int, of: int) -> None:
            bar.length = of
            bar.update(done - bar.pos)

        built = build(name, records, out=out, settings=settings, progress=progress, **options)
    for failure in built.failures:
        print(f"A part of the {name} report could not be made: {failure.trouble}", file=sys.stderr)
    print(f"Written: {built.folder / 'report.html'}")
    return bool(built.failures)


def _known_options_only(words: list[str]) -> None:
    """Refuse an option the command does not have, before anything is read."""
    commands = typer.main.get_command(app).commands  # type: ignore[attr-defined]
    command = next((commands[word] for word in words if word in commands), None)
    if command is None:
        return
    known = sorted({name for one in command.params for name in (*one.opts, *one.secondary_opts) if name[:2] == "--"})
    for word in words:
        option = word.partition("=")[0]
        if word.startswith("--") and len(word) > 2 and option not in (*known, "--help"):
            raise InputError(
                f'"mendcurve {command.name}" has no option {option}.',
                [f"it has: {', '.join(known) or 'none'}"],
                f"Leave it out or correct it.{nearest(option, known)}",
            )


def main() -> None:
    """Run the command; what the user must mend is printed as text, never as a traceback."""
    try:
        _known_options_only(sys.argv[1:])
        app(prog_name="mendcurve")
    except InputError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
    except OSError as error:
        print(f"{error.filename or 'A file'} cannot be written or read: {error.strerror}.", file=sys.stderr)
        print("Give another place, or make the folder, and run again.", file=sys.stderr)
        sys.exit(2)


if __name__ == "__main__":
    main()
