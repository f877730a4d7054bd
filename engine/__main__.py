"""Ask many households: python -m engine ask QUESTION FILES... [--processes N | --scheduler ADDRESS].

One line of JSON for each document on stdout, in the order of the files: {"file": ..., "answer": ...}, or "error" with a
sentence, which is also said on stderr. Exit status: 0 all answered, 1 some not, 2 wrong use.
"""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Generator, Sequence
from contextlib import closing

from tqdm import tqdm

from engine.asking.document import Line
from engine.asking.questions import QUESTIONS, Asked, number_of
from engine.asking.spread import PROCESSES, Halted, cores, on_cluster, on_cores

ALL_ANSWERED, SOME_FAILED, INTERRUPTED = 0, 1, 130


def parser() -> argparse.ArgumentParser:
    """Return the command line's parser: one command for each question."""
    top = argparse.ArgumentParser(prog="python -m engine", description="Greyspell without its pages, for scripts.")
    ask = top.add_subparsers(dest="command", required=True, metavar="ask").add_parser(
        "ask", help="answer a question for many household documents", description="One JSON line for each document."
    )
    questions = ask.add_subparsers(dest="question", required=True, metavar="QUESTION")
    for name, question in QUESTIONS.items():
        one = questions.add_parser(name, help=question.says, description=f"{name}: {question.says}.")
        one.add_argument("files", nargs="+", metavar="FILES", help="household documents (JSON)")
        for option in question.options:
            one.add_argument(f"--{option.name}", **option.settings)
        where = one.add_mutually_exclusive_group()
        where.add_argument(
            "--processes", type=number_of(PROCESSES), metavar="N", help="processes here (usual: one for each core)"
        )
        where.add_argument("--scheduler", metavar="ADDRESS", help="work on the Dask cluster of this scheduler")
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Answer and return the exit status; wrong use ends in `SystemExit` 2."""
    typed = parser().parse_args(argv)
    values = {option.name: getattr(typed, option.name) for option in QUESTIONS[typed.question].options}
    asked = Asked(name=typed.question, values=values)
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(encoding="utf-8", errors="backslashreplace")
    if typed.scheduler is not None:
        lines = on_cluster(asked, typed.files, typed.scheduler)
    else:
        lines = on_cores(asked, typed.files, typed.processes or cores())
    try:
        return _write(lines, len(typed.files))
    except Halted as fault:
        print(fault, file=sys.stderr)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        return INTERRUPTED
    return SOME_FAILED


def _write(lines: Generator[Line, None, None], count: int) -> int:
    """Write each line as it comes, with a bar on stderr where that is a terminal."""
    status = ALL_ANSWERED
    with closing(lines), tqdm(total=count, unit=" households", disable=None) as bar:
        for line in lines:
            bar.write(line.text, file=sys.stdout)
            sys.stdout.flush()
            if line.error:
                bar.write(f"{line.file}: {line.error}", file=sys.stderr)
                status = SOME_FAILED
            bar.update()
    return status


if __name__ == "__main__":
    sys.exit(main())
