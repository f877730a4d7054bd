"""One cell test: how its file is read, what it tells, and its way into a bank."""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.bench.measured import bench_rows
from engine.errors import InputError
from engine.house.bank import Bank
from engine.house.household import Household
from webapp import bench_store
from webapp.bench_cells_view import CellsView, cells_view
from webapp.bench_draft import Draft, draft_of, drafted
from webapp.bench_reading import (
    CellsReport,
    Choices,
    LogReport,
    Report,
    TableReport,
    report,
    report_by,
)
from webapp.bench_score import Scored, scored
from webapp.bench_store import CellTest
from webapp.bench_use import doubt, given, holds, unlisted, uses
from webapp.bench_view import TestView, log_view, table_view
from webapp.bench_words import Current, bank_current, in_c
from webapp.downloads import csv_text, file_response
from webapp.editing import Sent, Typed, local_now, opened, save, store_of
from webapp.kept_pages import KeptPages, add_keeping
from webapp.kept_words import day
from webapp.parts import with_values
from webapp.render import json_answer, render
from webapp.store import Document
from webapp.uploads import ONE

KEPT = KeptPages(files=bench_store.FILES, path="/cell-tests")
router = APIRouter(prefix=KEPT.path)


@router.get(ONE)
def page(request: Request, file_id: int) -> Response:
    """Show how a draft would be read, or what a test tells."""
    test, house = KEPT.find(request, file_id)
    if not test.accepted or "read" in request.query_params:
        test, _ = KEPT.standing(request, file_id)
        return _show_draft(request, test, draft_of(KEPT.content(request, test), test))
    return _show_result(request, test, house)


@router.post(f"{ONE}/read")
def read(request: Request, file_id: int, sent: Sent) -> Response:
    """Look again with other choices, or accept them."""
    test, house = KEPT.standing(request, file_id)
    content = KEPT.content(request, test)
    draft = drafted(content, test, house, sent)
    if sent.get("act") != "read":
        return _show_draft(request, test, draft.unblamed())
    if draft.choices is None:
        return _show_draft(request, test, draft)
    try:
        report_by(store_of(request), test.id, draft.choices)
    except InputError as fault:
        return _show_draft(request, test, draft.refused(fault))
    return KEPT.accept(request, test, draft.choices.kind, draft.choices.stored())


@router.post(f"{ONE}/use")
def use(request: Request, file_id: int, sent: Sent) -> Response:
    """Write what a test found into a bank; undo brings back what stood there."""
    test, house = KEPT.accepted(request, file_id)
    found = report(store_of(request), test)
    chosen = sent.get("bank", "")
    name = next((bank.name for bank in house.banks if bank.id == chosen), chosen)

    def change(document: Document) -> Document:
        bank = next((one for one in house.banks if one.id == chosen), None)
        if bank is None:
            raise InputError("bank", "Choose the bank that is built of these cells.")
        values, question = given(found, bank, test), doubt(found, bank)
        if question and sent.get("sure") != chosen:
            raise InputError("sure", question)
        return with_values(document, "banks", chosen, values)

    return save(
        request,
        sent,
        change,
        f"{name} given the test “{test.name}”"[:120],
        f"{KEPT.address(test)}?{urlencode({'used': chosen, 'bank': chosen})}#use",
        lambda errors, status: _show_result(request, test, house, _told(errors), status, sent, "sure" in errors),
    )


@router.get(f"{ONE}.json")
def as_json(request: Request, file_id: int) -> Response:
    """Give what a test tells as JSON, unrounded, with how it was read; of a log without its rows."""
    test, _ = KEPT.accepted(request, file_id)
    found = report(store_of(request), test)
    head = {"name": test.name, "kind": test.kind, "choices": test.choices, "base": found.base.id}
    if isinstance(found, LogReport):
        result = {name: getattr(found.result, name) for name in ("segments", "cycles", "findings", "series")}
        return json_answer(
            head | {"result": result, "cell": found.cell, "why_no_cell": found.why_no_cell, "foreign": found.foreign}
        )
    return json_answer(head | {"result": found})


@router.get(f"{ONE}.csv")
def as_csv(request: Request, file_id: int) -> Response:
    """Give the table of a test's result as a file for a spreadsheet."""
    test, house = KEPT.accepted(request, file_id)
    found = report(store_of(request), test)
    header, rows = _sheet(found, _current(request, house, _bank_of(request, house, found)))
    return file_response(csv_text(header, rows), f"{test.name}.csv", "text/csv")


def _told(errors: Mapping[str, str]) -> dict[str, str]:
    """What stands against a bank's new values, all of it at the choice of the bank."""
    return {"bank": " ".join(errors.values())}


def _bank_of(request: Request, house: Household, found: Report) -> Bank | None:
    """The bank asked about, else the first of the same chemistry, else none."""
    asked = request.query_params.get("bank", "")
    fitting = [bank for bank in house.banks if bank.cell.base_id == found.base.id]
    return next((bank for bank in house.banks if bank.id == asked), fitting[0] if fitting else None)


def _current(request: Request, house: Household, bank: Bank | None) -> Current:
    """The charge current of a bank in this month."""
    return bank_current(house, bank, local_now(request, house).month)


def _scores(request: Request, test: CellTest, found: Report) -> list[Scored]:
    """Every kept plan that this test can judge."""
    saved, _ = opened(request)
    before = (plan for plan in bench_store.plans(store_of(request), saved.household_id) if plan.made_at <= test.made_at)
    tried = (scored(plan, found) for plan in before)
    return [one for one in tried if one is not None]


def _show_draft(request: Request, test: CellTest, draft: Draft) -> Response:
    return render(
        request,
        "cell_test_draft.html",
        status=422 if draft.form.errors else 200,
        here=KEPT.path,
        test=test,
        draft=draft,
        read_before=test.accepted,
    )


def _show_result(
    request: Request,
    test: CellTest,
    house: Household,
    errors: dict[str, str] | None = None,
    status: int = 200,
    sent: Typed | None = None,
    asked: bool = False,
) -> Response:
    try:
        found = report(store_of(request), test)
    except InputError as fault:
        content = KEPT.content(request, test)
        return _show_draft(request, test, draft_of(content, test).refused(fault))
    bank = _bank_of(request, house, found)
    choices = Choices.of(test.choices)
    return render(
        request,
        "cell_test.html",
        status=status,
        here=KEPT.path,
        address=KEPT.address(test),
        test=test,
        view=_view(found, choices.label_ah, bank, _current(request, house, bank)),
        kind=choices.kind,
        report=found,
        bank=bank,
        used=_used(request, house, found, test),
        uses=uses(found, house.banks),
        unlisted=unlisted(found, house.banks),
        scores=_scores(request, test, found),
        made=day(test.made_at, house.site.time_zone),
        errors=errors or {},
        typed=sent or {},
        asked=asked,
    )


def _used(request: Request, house: Household, found: Report, test: CellTest) -> Bank | None:
    """The bank that was just given this test, if it still holds it."""
    asked = request.query_params.get("used")
    return next((one for one in house.banks if one.id == asked and holds(one, found, test)), None)


def _view(found: Report, label_ah: float | None, bank: Bank | None, current: Current) -> TestView | CellsView:
    """Return what a test comes to, whatever its kind."""
    if isinstance(found, LogReport):
        return log_view(found, label_ah, current)
    if isinstance(found, TableReport):
        return table_view(found, label_ah, current)
    return cells_view(found, bank, current)


def _sheet(found: Report, current: Current) -> tuple[tuple[str, ...], list[tuple[str | float | None, ...]]]:
    """Return the table of a result for a spreadsheet: its header and rows, shares in percent of two decimals."""
    if isinstance(found, CellsReport):
        return _cells_sheet(found)
    cell = found.cell
    if cell is None:
        header = ("cycle", "put in, Ah", "drawn, Ah", "drawn, Wh")
        cycles = found.result.cycles if isinstance(found, LogReport) else ()
        return header, [(one.number, one.charge_ah, one.discharge_ah, one.discharge_wh) for one in cycles]
    columns = (
        "charge ends at, V per cell",
        f"no hold at {in_c(cell.charge_c)}, %",
        f"held to {in_c(cell.tail_c)}, %",
        f"no hold at {in_c(current.c_rate)} ({current.whose}), %",
        "standard error of that, points",
    )
    pairs = zip(bench_rows(cell), bench_rows(cell, current.c_rate), strict=True)
    rows: list[tuple[str | float | None, ...]] = [
        (a.volts, *(round(100 * x, 2) for x in (a.no_hold_share, a.hold_share, b.no_hold_share, b.no_hold_band)))
        for a, b in pairs
    ]
    return columns, rows


def _cells_sheet(found: CellsReport) -> tuple[tuple[str, ...], list[tuple[str | float | None, ...]]]:
    places = {id(cell): n for n, group in enumerate(found.grouping.even.groups, 1) for cell in group.cells}
    out = {id(reject.cell): "; ".join(reject.reasons) for reject in found.grouping.rejects}
    return ("cell", "Ah", "Wh", "milliohm", "group", "better left out because"), [
        (one.name, one.ah, one.wh, one.milliohm, places.get(id(one)), out.get(id(one))) for one in found.cells
    ]


add_keeping(router, KEPT, _show_result)
