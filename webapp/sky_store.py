"""Sun records of the households: files of sunshine or of what the panels gave, as rows beside them (`kept_files`).

What a household uses of such a file is written into its document (`sun.monthly_kc`, `sun.spells`, ...), so that a copy
taken out needs no file; deleting the file takes nothing out of the document.
"""

from __future__ import annotations

from webapp.kept_files import FileTable, KeptFile

SkyFile = KeptFile

FILES = FileTable(table="sky_files", thing="sun record")
add, find, content = FILES.add, FILES.find, FILES.content
accepted, drafts, deleted = FILES.accepted, FILES.drafts, FILES.deleted
accept, rename, delete, undelete = FILES.accept, FILES.rename, FILES.delete, FILES.undelete
