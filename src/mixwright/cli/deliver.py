# SPDX-License-Identifier: Apache-2.0
"""`mixwright deliver`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from mixwright.cli.options import FILE, FOLDER, FiniteRange, command
from mixwright.cli.output import Output
from mixwright.model.words import PRINT_RATES_HZ, Depth, Keys, PrintKind

if TYPE_CHECKING:
    from mixwright.model.agreement import Agreement

_KINDS = tuple(kind for kind in get_args(PrintKind) if kind != "preview")


class Names(click.ParamType):
    """Names with commas between them, of those that are known if any are."""

    name = "names"

    def __init__(self, known: tuple[str, ...] = ()) -> None:
        self._known = known

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, ...]:
        """Return the names, or fail with those that are known."""
        names = tuple(filter(None, (name.strip() for name in str(value).split(","))))
        for name in names:
            if self._known and name not in self._known:
                self.fail(f"{name!r} is not known; known: {', '.join(self._known)}", param, ctx)
        if not names:
            self.fail("nothing is named", param, ctx)
        return names


@command(
    "deliver",
    short_help="Print the mix, its versions and stems, and check them.",
    example="mixwright deliver night-bus --prints main,vocal_up,instrumental,stem --rate 48000,44100",
)
@click.argument("song", metavar="SONG", type=FOLDER, required=False)
@click.option("--prints", metavar="KINDS", type=Names(_KINDS), help=f"What to print: {', '.join(_KINDS)}.")
@click.option("--rate", metavar="HZ", type=Names(tuple(map(str, PRINT_RATES_HZ))), help="Rates [the song's].")
@click.option("--depth", metavar="BITS", type=Names(get_args(Depth)), help="16, 24, float, or several [24].")
@click.option("--file-format", type=click.Choice(["wav", "flac"]), help="Of 16 and 24 bit [wav].")
@click.option("--vocal-step", metavar="DB", type=FiniteRange(0.1, 6.0), help="Of vocal_up and vocal_down [1].")
@click.option(
    "--keys",
    type=click.Choice(get_args(Keys)),
    help="Whether voices that are left out still drive keys and buses, so that parts add up [held].",
)
@click.option(
    "--template", metavar="TEXT", help="How files are named [{title}_{print}_{rate}{depth}]; more in docs/tags.md."
)
@click.option("--undecided-ok", metavar="MOVES", type=Names(), help="Leave these proposed moves out.")
@click.option("--mutes-ok", metavar="LAYERS", type=Names(), help="Leave these muted tracks, groups and sends out.")
@click.option("--faults-ok", metavar="TRACKS", type=Names(), help="Use these damaged tracks as they are.")
@click.option("--verify", metavar="FOLDER|ZIP", type=FILE, help="Check prints that lie somewhere; nothing is printed.")
def command_line(
    output: Output,
    song: Path | None,
    undecided_ok: tuple[str, ...] | None,
    mutes_ok: tuple[str, ...] | None,
    faults_ok: tuple[str, ...] | None,
    template: str | None,
    verify: Path | None,
    **chosen: object,
) -> None:
    """Print what was agreed into a new numbered folder, check it, and list what is missing.

    What was agreed stands in song.toml under `agreement`; without it, and without options, these are main mix,
    instrumental, a cappella and stems. Options stand in place of what the agreement says. All files start together and
    are equally long; parts are shown to add up to the mix. Ends with status 3 when a check fails.
    """
    from mixwright.errors import SettingError

    asked = {name: value for name, value in chosen.items() if value is not None}
    if verify is not None:
        if song is not None or asked or template or undecided_ok or mutes_ok or faults_ok:
            raise SettingError("--verify stands alone", where="--verify", hint="mixwright deliver --verify FOLDER")
        _verify(output, verify)
        return
    if song is None:
        raise SettingError("no song is named", where="SONG", hint="mixwright deliver SONG")
    from mixwright.app.deliver import deliver
    from mixwright.report.prints import deliver_text

    result = output.run(
        deliver,
        song,
        agreed=_agreed(song, asked) if asked else None,
        template=template,
        undecided_ok=undecided_ok or (),
        mutes_ok=mutes_ok or (),
        faults_ok=faults_ok or (),
    )
    output.show(result, deliver_text, str(song))


def _verify(output: Output, place: Path) -> None:
    from mixwright.app.verify import verify
    from mixwright.report.prints import verify_text

    output.show(output.run(verify, place), verify_text)


def _agreed(song: Path, asked: dict[str, object]) -> Agreement:
    """Return the song's agreement with what was asked for in its place."""
    from mixwright.app.deliver import agreement_with

    fields = {"prints": "prints", "file_format": "file_format", "keys": "keys", "vocal_step": "vocal_step_db"}
    settings = {fields[name]: value for name, value in asked.items() if name in fields}
    if "rate" in asked:
        settings["rates_hz"] = tuple(map(int, asked["rate"]))  # type: ignore[call-overload]
    if "depth" in asked:
        settings |= {"depths": asked["depth"], "stem_depths": ()}
    return agreement_with(song, settings)
