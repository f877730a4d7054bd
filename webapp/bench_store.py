"""Cell tests and bench plans of the households, as rows beside them.

A test is a bench file as it was brought (`kept_files`); a plan is a question with what was forecast then, JSON that
nothing here reads.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from webapp.kept_files import FileTable, KeptFile
from webapp.store import Store

CellTest = KeptFile

FILES = FileTable(table="cell_tests", thing="cell test")
add, find, content = FILES.add, FILES.find, FILES.content
accepted, drafts, deleted = FILES.accepted, FILES.drafts, FILES.deleted
accept, rename, delete, undelete = FILES.accept, FILES.rename, FILES.delete, FILES.undelete


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPlan:
    """A bench plan as it was asked for, with what it forecast then."""

    id: int
    household_id: int
    asked: dict[str, Any]
    forecast: dict[str, Any]
    made_at: datetime


def keep_plan(store: Store, household_id: int, asked: dict[str, Any], forecast: dict[str, Any]) -> KeptPlan:
    """Keep a plan with its forecast; the same question again takes the place of the older plan."""
    with store.transaction() as db:
        text = json.dumps(asked, sort_keys=True)
        db.execute("DELETE FROM bench_plans WHERE household_id = ? AND asked = ?", (household_id, text))
        db.execute(
            "INSERT INTO bench_plans (household_id, asked, forecast, made_at) VALUES (?, ?, ?, ?)",
            (household_id, text, json.dumps(forecast), store.clock().isoformat()),
        )
    return plans(store, household_id)[0]


def plans(store: Store, household_id: int) -> list[KeptPlan]:
    """Return the kept plans of a household, the newest first."""
    rows = store.rows("SELECT * FROM bench_plans WHERE household_id = ? ORDER BY id DESC", household_id)
    return [
        KeptPlan(
            id=row["id"],
            household_id=row["household_id"],
            asked=json.loads(row["asked"]),
            forecast=json.loads(row["forecast"]),
            made_at=datetime.fromisoformat(row["made_at"]),
        )
        for row in rows
    ]


def drop_plan(store: Store, household_id: int, plan_id: int) -> None:
    """Throw a kept plan away; asking again makes the same one."""
    with store.transaction() as db:
        db.execute("DELETE FROM bench_plans WHERE household_id = ? AND id = ?", (household_id, min(plan_id, 2**62)))
