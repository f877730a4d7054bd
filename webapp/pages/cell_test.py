"""One cell test: how its file is read, what it tells, and its way into a bank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from engine.bench.measured import bench_rows, chemistry_of
from engine.errors import InputError
from engine.house.bank import Bank
from engine.house.household import Household
from webapp import bench_store
from webapp.bench_cells_view import CellsView, cells_view
from webapp.bench_draft import Draft, as_read, draft_of, drafted
from webapp.bench_reading import (
    CellsReport,
    Choices,
    LogReport,
    Report,
    TableReport,
    base_id,
    own_id,
    report,
    report_of,
)
from webapp.bench_score import Scored, scored
from webapp.bench_store import CellTest
from webapp.bench_view import TestView, log_view, table_view
from webapp.bench_words import Current, bank_current, day, in_ah, in_c
from webapp.downloads import csv_text, file_response
from webapp.editing import Sent, Typed, local_now, opened, save, with_values
from webapp.render import json_answer, plain_data, render
from webapp.store import Document, Store

LIST = "/cell-tests"
router = APIRouter(prefix=LIST)

OWN_CELL_SHARE = (0.6, 1.1)
"""Capacity found, as a share of the bank's label, between which the test is of the bank's own cells (assumed)."""


def _store(request: Request) -> Store:
    store: Store = request.app.state.store
    return store


def _find(request: Request, test_id: int) -> tuple[CellTest, Household]:
    saved, house = opened(request)
    return bench_store.find(_store(request), saved.household_id, test_id), house


@router.get("/{test_id:int}")
def page(request: Request, test_id: int) -> Response:
    """Show how a draft would be read, or what a test tells."""
    test, house = _find(request, test_id)
    if not test.accepted or "read" in request.query_params:
        return _show_draft(request, test, draft_of(bench_store.content(_store(request), test.id), test, house))
    return _show_result(request, test, house)


@router.post("/{test_id:int}/read")
def read(request: Request, test_id: int, sent: Sent) -> Response:
    """Look again with other choices, or accept them."""
    test, house = _find(request, test_id)
    content = bench_store.content(_store(request), test.id)
    draft = drafted(content, test, house, sent)
    if sent.get("act") != "read":
        return _show_draft(request, test, draft.unblamed())
    if draft.choices is None:
        return _show_draft(request, test, draft)
    try:
        report_of(content, draft.choices)
    except InputError as fault:
        return _show_draft(request, test, draft.refused(fault))
    bench_store.accept(_store(request), test.id, draft.choices.kind, draft.choices.stored())
    return RedirectResponse(f"{LIST}/{test.id}", HTTPStatus.SEE_OTHER)


@router.post("/{test_id:int}/rename")
def rename(request: Request, test_id: int, sent: Sent) -> Response:
    """Give a test another name."""
    test, house = _find(request, test_id)
    try:
        bench_store.rename(_store(request), test.id, sent.get("name", "").strip())
    except InputError as fault:
        return _show_result(request, test, house, {"name": fault.message}, 422, sent)
    return RedirectResponse(f"{LIST}/{test.id}", HTTPStatus.SEE_OTHER)


@router.post("/{test_id:int}/delete")
def delete(request: Request, test_id: int, sent: Sent) -> Response:
    """Delete a test or a draft; it can be brought back from the list."""
    test, _ = _find(request, test_id)
    bench_store.delete(_store(request), test.id)
    return RedirectResponse(f"{LIST}{'#deleted' if test.accepted else ''}", HTTPStatus.SEE_OTHER)


@router.post("/{test_id:int}/undelete")
def undelete(request: Request, test_id: int, sent: Sent) -> Response:
    """Bring a deleted test back."""
    test, _ = _find(request, test_id)
    bench_store.undelete(_store(request), test.id)
    return RedirectResponse(f"{LIST}/{test.id}", HTTPStatus.SEE_OTHER)


@router.post("/{test_id:int}/use")
def use(request: Request, test_id: int, sent: Sent) -> Response:
    """Write what a test found into a bank; undo brings back what stood there."""
    test, house = _find(request, test_id)
    found = report(_store(request), test)
    chosen = sent.get("bank", "")
    name = next((bank.name for bank in house.banks if bank.id == chosen), chosen)

    def change(document: Document) -> Document:
        bank = next((one for one in house.banks if one.id == chosen), None)
        if bank is None:
            raise InputError("bank", "Choose the bank that is built of these cells.")
        return with_values(document, "banks", chosen, _given(found, bank, test))

    return save(
        request,
        sent.get("revision", ""),
        change,
        f"{name} given the test “{test.name}”"[:120],
        f"{LIST}/{test.id}?used={chosen}&bank={chosen}#use",
        lambda errors, status: _show_result(request, test, house, _told(errors), status, sent),
    )


@router.get("/{test_id:int}.json")
def as_json(request: Request, test_id: int) -> Response:
    """Give what a test tells as JSON, unrounded; of a log without its rows."""
    test, _ = _find(request, test_id)
    found = report(_store(request), test)
    if isinstance(found, LogReport):
        result = {name: getattr(found.result, name) for name in ("segments", "cycles", "findings", "series")}
        return json_answer({"name": test.name, "kind": test.kind, "result": result, "cell": found.cell})
    return json_answer({"name": test.name, "kind": test.kind, "result": found})


@router.get("/{test_id:int}.csv")
def as_csv(request: Request, test_id: int) -> Response:
    """Give the table of a test's result as a file for a spreadsheet."""
    test, house = _find(request, test_id)
    found = report(_store(request), test)
    header, rows = _sheet(found, _current(request, house, _bank_of(request, house, found)))
    return file_response(csv_text(header, rows), f"{test.name}.csv", "text/csv")


def _given(found: Report, bank: Bank, test: CellTest) -> dict[str, Any]:
    """The values of a bank that a test sets."""
    if isinstance(found, CellsReport):
        return {"tested_ah": round(found.grouping.even.string_ah / found.grouping.parallel, 6)}
    if isinstance(found, LogReport) and found.cell is None:
        drawn = max((one.discharge_ah or 0.0 for one in found.result.cycles), default=0.0)
        return {"tested_ah": round(drawn, 6)}
    cell = found.cell
    assert cell is not None
    if base_id(bank.cell) != found.base.id:
        raise InputError(
            "bank",
            f"{bank.name} is described as {bank.cell.name}, and this test was read as {found.base.name}: its limits "
            "and its board’s volts would not fit. Change the bank’s chemistry on Banks first, or read the test again.",
        )
    own = chemistry_of(cell, found.base, own_id(found.base, test.id), f"{found.base.name}, your test “{test.name}”")
    values: dict[str, Any] = {"chemistry": plain_data(own)}
    if of_own_cells(cell.full_ah, bank):
        values["tested_ah"] = round(cell.full_ah, 6)
    return values


def of_own_cells(full_ah: float, bank: Bank) -> bool:
    """Tell whether a test's ampere-hours are those of a cell of this bank, or of another size of cell."""
    low, high = OWN_CELL_SHARE
    return low <= full_ah / bank.label_ah <= high


def _told(errors: Mapping[str, str]) -> dict[str, str]:
    """What stands against a bank's new values, all of it at the choice of the bank."""
    return {"bank": " ".join(errors.values())}


def _bank_of(request: Request, house: Household, found: Report) -> Bank | None:
    """The bank asked about, else the first of the same chemistry, else none."""
    asked = request.query_params.get("bank", "")
    fitting = [bank for bank in house.banks if base_id(bank.cell) == found.base.id]
    return next((bank for bank in house.banks if bank.id == asked), fitting[0] if fitting else None)


def _current(request: Request, house: Household, bank: Bank | None) -> Current:
    """The charge current of a bank in this month."""
    return bank_current(house, bank, local_now(request, house).month)


def _scores(request: Request, found: Report) -> list[Scored]:
    """Every kept plan that this test can judge."""
    saved, _ = opened(request)
    tried = (scored(plan, found) for plan in bench_store.plans(_store(request), saved.household_id))
    return [one for one in tried if one is not None]


def _show_draft(request: Request, test: CellTest, draft: Draft) -> Response:
    return render(
        request,
        "cell_test_draft.html",
        status=422 if draft.form.errors else 200,
        here=LIST,
        test=test,
        draft=draft,
        read_before=as_read(test),
    )


def _show_result(
    request: Request,
    test: CellTest,
    house: Household,
    errors: dict[str, str] | None = None,
    status: int = 200,
    sent: Typed | None = None,
) -> Response:
    try:
        found = report(_store(request), test)
    except InputError as fault:
        content = bench_store.content(_store(request), test.id)
        return _show_draft(request, test, draft_of(content, test, house).refused(fault))
    bank = _bank_of(request, house, found)
    choices = Choices.of(test.choices)
    return render(
        request,
        "cell_test.html",
        status=status,
        here=LIST,
        address=f"{LIST}/{test.id}",
        test=test,
        view=_view(found, choices.label_ah, bank, _current(request, house, bank)),
        kind=choices.kind,
        report=found,
        bank=bank,
        banks=house.banks,
        used=next((one for one in house.banks if one.id == request.query_params.get("used")), None),
        uses=_uses(found, house.banks),
        scores=_scores(request, found),
        made=day(test.made_at, house.site.time_zone),
        errors=errors or {},
        typed=sent or {},
    )


def _view(found: Report, label_ah: float | None, bank: Bank | None, current: Current) -> TestView | CellsView:
    """Return what a test comes to, whatever its kind."""
    if isinstance(found, LogReport):
        return log_view(found, label_ah, current)
    if isinstance(found, TableReport):
        return table_view(found, label_ah, current)
    return cells_view(found, bank, current)


def _uses(found: Report, banks: Sequence[Bank]) -> tuple[tuple[str, str], ...]:
    """Return the banks a test can be used in, by id, each with what would change in words."""
    if isinstance(found, CellsReport):
        each_ah = found.grouping.even.string_ah / found.grouping.parallel
        return tuple((bank.id, f"{bank.name}: tested {in_ah(each_ah)} a cell") for bank in banks)
    if found.cell is None:
        return tuple((bank.id, f"{bank.name}: tested Ah") for bank in banks)
    full_ah = found.cell.full_ah
    return tuple(
        (
            bank.id,
            f"{bank.name}: curve and {in_ah(full_ah)} a cell"
            if of_own_cells(full_ah, bank)
            else f"{bank.name}: curve alone",
        )
        for bank in sorted(banks, key=lambda one: base_id(one.cell) != found.base.id)
    )


def _sheet(found: Report, current: Current) -> tuple[tuple[str, ...], list[tuple[str | float | None, ...]]]:
    """Return the table of a result, unrounded, for a spreadsheet: its header and rows."""
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
