"""``proud``: finds the command, and turns every outcome into an exit code.

0 fine, 1 a finding at or over ``--fail-on``, 2 bad input, 3 an internal fault, 130 Ctrl-C.
"""

from __future__ import annotations

import importlib
import io
import os
import sys

import click

from .words import CAUTION

__all__ = ["main"]

COMMANDS = {
    "start": "A job.toml from a program: its tools, passes and stock, to be checked.",
    "read": "What a program does: tools, passes, extents, time, lines of interest.",
    "passes": "What each pass does and leaves; a pass list as a plain program.",
    "run": "Skims, steps and levels that the program leaves; the main job.",
    "trace": "Exact heights and steps along a line across the part.",
    "probe": "First contact of a touch probe or height gauge with the metal.",
    "wall": "Stock left on the wall along a contour: least, most, mean.",
    "contact": "What every pass touched: bites, gaps, arc, chip, volumes.",
    "clearance": "Least gap of neck, shank, holder and fixture, and where.",
    "picture": "A picture of what is left, with numbers on the steps.",
    "loupe": "A small window of the surface to a micrometre, as picture and array.",
    "tool": "A tool drawn with its measures, and what of it cuts.",
    "explain": "What a finding means: its measure, its margin and its cure.",
    "schema": "The JSON Schema of job.toml or of a pass list, for an editor.",
}


class Commands(click.Group):
    """Commands that are imported when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names, in the order in which people need them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command by its name."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"proud.cli.{cmd_name}")
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; an unknown one names the closest."""
        if args and args[0] not in COMMANDS:
            from proud.errors import closest

            ctx.fail(
                f"no command {args[0]!r}; there are {', '.join(COMMANDS)}"
                + closest(args[0], COMMANDS)
            )
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


def _version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        click.echo(f"proud {version('proud')}")
        ctx.exit()


@click.group(cls=Commands, epilog=CAUTION, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_version,
    help="Print the version and stop.",
)  # fmt: skip
def group() -> None:
    """Show what the tools will leave standing proud of the part, before it is cut."""


def main() -> None:
    """Run the command line and exit."""
    from proud.errors import BadInput, ProgramError

    if isinstance(sys.stdout, io.TextIOWrapper):  # a mark that the screen lacks stops no run
        sys.stdout.reconfigure(errors="replace")
    try:
        code = group.main(prog_name="proud", standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except click.exceptions.Exit as stop:
        sys.exit(stop.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except ProgramError as error:  # begins with file:line:column, as editors follow it
        click.echo(str(error), err=True)
        sys.exit(error.exit_code)
    except BadInput as error:
        click.echo(f"error: {error}", err=True)
        sys.exit(error.exit_code)
    except (KeyboardInterrupt, click.Abort):
        click.echo("stopped; no file was left half written", err=True)
        sys.exit(130)
    except MemoryError:
        click.echo("error: the memory is full; choose a larger [grid] pitch", err=True)
        sys.exit(2)
    except Exception as error:
        if os.environ.get("PROUD_DEBUG"):
            raise
        click.echo(
            f"internal fault: {type(error).__name__}: {error}\n"
            "This is a mistake of the program, not of yours; PROUD_DEBUG=1 shows where.",
            err=True,
        )
        sys.exit(3)


if __name__ == "__main__":
    main()
