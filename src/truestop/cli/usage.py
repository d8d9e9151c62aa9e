"""What is wrong with a command line, in one sentence with its remedy.

Conventions: the parser's own errors are met here once for every option of every command; what the parser says of types
(its words change with its versions) is said anew from the option's bounds.
"""

from __future__ import annotations

from typing import Any

import typer

UsageError: type[Exception] = typer.BadParameter.__mro__[1]
"""What the parser raises for every fault in the command line."""
_DATE_HINT = "Write a day and a time like 2027-05-14T18:30, or a day alone."


def explain(error: Any) -> tuple[str, str]:
    """(what, remedy) of a fault in the command line."""
    parameter, help_hint = getattr(error, "param", None), _see_help(error)
    message = str(error.format_message()).replace("argument(s)", "argument").rstrip(".")
    if type(error).__name__ == "MissingParameter" and parameter is not None:
        return f"{_name(parameter)} is missing.", f"{_sentence(parameter.help)} {help_hint}"
    if type(error).__name__ == "BadParameter":
        if parameter is None:
            return str(error.message), ""
        return _bad_value(parameter, _value(error), str(error.message))
    return f"{message}.", help_hint


def is_plea_for_help(error: BaseException) -> bool:
    """Whether nothing was asked at all, so that the help is the answer."""
    return type(error).__name__ == "NoArgsIsHelpError"


def _name(parameter: Any) -> str:
    """How the help writes an argument, and the option as it is typed."""
    if parameter.param_type_name == "argument":
        return str(parameter.metavar or parameter.name.upper())
    return str(parameter.opts[0])


def _value(error: Any) -> str | None:
    faults = getattr(error.__cause__, "errors", None)
    return str(faults()[0]["input"]) if callable(faults) else None


def _bad_value(parameter: Any, value: str | None, message: str) -> tuple[str, str]:
    name, shown = _name(parameter), "this" if value is None else f"'{value}'"
    low, high = (getattr(parameter, end, None) or _bound(parameter, end) for end in ("min", "max"))
    if "format" in message:
        return f"{name}: {shown} cannot be read.", _sentence(parameter.help)
    if "one of" in message:
        choices = message.partition("one of ")[2].rstrip(".").replace("'", "")
        return f"{name}: {shown} is not among its choices.", f"Choose one of {choices}."
    if "date" in message.lower():
        return f"{name}: {shown} is no time.", _DATE_HINT
    whole = "integer" in message
    if "number" in message or whole or "float" in message:
        kind = "a whole number" if whole else "a number"
        return f"{name}: {shown} is not {kind}.", f"Give {kind}{_range(low, high)}."
    if low is not None or high is not None:
        return f"{name}: {shown} is out of range.", f"Give a number{_range(low, high)}."
    return f"{name}: {message.removeprefix('Value error, ').rstrip('.')}.", _sentence(parameter.help)


def _bound(parameter: Any, end: str) -> float | None:
    """A bound as older parsers keep it: at the option's type."""
    return getattr(getattr(parameter, "type", None), end, None)


def _range(low: float | None, high: float | None) -> str:
    if low is not None and high is not None:
        return f" from {low:g} to {high:g}"
    return f" of at least {low:g}" if low is not None else f" up to {high:g}" if high is not None else ""


def _sentence(text: str | None) -> str:
    return f"{text.rstrip('.')}." if text else ""


def _see_help(error: Any) -> str:
    context = getattr(error, "ctx", None)
    names = []
    while context is not None and context.parent is not None:
        names.append(context.info_name)
        context = context.parent
    return f"{' '.join(['truestop', *reversed(names)])} --help shows what it takes."
