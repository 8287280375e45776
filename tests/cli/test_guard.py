"""How commands end: exit codes, and one line for every error."""

from __future__ import annotations

import pytest
import typer
from typer.testing import CliRunner

from skeleton import errors
from skeleton.cli.guard import DEBUG_VARIABLE, guarded


def run(error: BaseException | None) -> tuple[int, str, str]:
    app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False)

    @app.command()
    @guarded
    def command() -> None:
        typer.echo("data")
        if error is not None:
            raise error

    result = CliRunner().invoke(app)
    return result.exit_code, result.stdout, result.stderr


def test_done() -> None:
    assert run(None) == (0, "data\n", "")


@pytest.mark.parametrize("kind", [errors.SkeletonError, *errors.SkeletonError.__subclasses__()])
def test_every_error_of_the_package_is_one_line_and_exit_1(kind: type[Exception]) -> None:
    assert run(kind("a.musicxml:\nno score")) == (1, "data\n", "skeleton: a.musicxml: no score\n")


def test_a_wrong_option_is_exit_2() -> None:
    code, _, message = run(typer.BadParameter("no such key"))
    assert code == 2
    assert "no such key" in message


def test_interrupted_is_exit_130_and_quiet() -> None:
    assert run(KeyboardInterrupt()) == (130, "data\n", "")


def test_a_fault_of_the_program_is_one_line_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(DEBUG_VARIABLE, raising=False)
    code, _, message = run(ZeroDivisionError("by\nzero"))
    assert code == 1
    assert message.count("\n") == 1
    assert "fault of the program" in message
    assert "ZeroDivisionError: by zero" in message
    assert DEBUG_VARIABLE in message


def test_debugging_shows_the_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(DEBUG_VARIABLE, "1")
    app = typer.Typer(pretty_exceptions_enable=False)

    @app.command()
    @guarded
    def command() -> None:
        raise ZeroDivisionError

    assert isinstance(CliRunner().invoke(app).exception, ZeroDivisionError)
