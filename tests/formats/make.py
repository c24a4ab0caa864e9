"""Makes the workbooks of this folder, all of one content (invented): needs openpyxl and LibreOffice.

    python make.py

typed.xlsx is as typed, its formulas not calculated; LibreOffice makes shop.xlsx, shop.xls
and shop.ods of it.
"""
import datetime
import pathlib
import shutil
import subprocess
import tempfile

import openpyxl
from openpyxl.styles import Font

here = pathlib.Path(__file__).parent
book = openpyxl.Workbook()
sheet = book.active
sheet.title = "Stock"
sheet["A1"] = "Invented stores list, week 12"
sheet["A1"].font = Font(bold=True)
sheet.merge_cells("A1:F1")
sheet.merge_cells("A2:C3")
sheet["A2"] = "counted on"
sheet["D2"] = datetime.date(2027, 3, 1)
head = ["Item", "Kind", "Fit", "Thickness (in)", "Tolerance (in)", "On hand", "Reserved", "Bin", "Seen"]
for column, text in enumerate(head, 2):
    sheet.cell(5, column, text)
rows = [
    ["S-005", "shim", "F1", 0.005, 0.0002, 12, 0, "A1", datetime.date(2027, 2, 14)],
    ["S-010", "shim", "F1", 0.01, 0.0002, "=3*4", 1, "A2", True],
    ["S-1/64", "shim", "F1", "1/64 in", 0.0002, 7, 0, "A10", False],
    ["S-020", "shim", "F1", "=C1/0", 0.0002, "=6/2", 0, "=\"A\"&11", None],
    ["S-µ & <25>", "shim", "F1", "0,025 mm", "±0.001 mm", -3, 0, "  A12 ", 1e-7],
]
for number, row in enumerate(rows, 7):
    for column, value in enumerate(row, 2):
        if value is not None:
            sheet.cell(number, column, value)
sheet["D7"].number_format = "0.0000"
sheet.row_dimensions[8].hidden = True
sheet.row_dimensions[9].hidden = True
sheet.column_dimensions["H"].hidden = True
old = book.create_sheet("Old")
old["A1"] = "not in use"
old.sheet_state = "hidden"
book.create_sheet("Empty")
typed = here / "typed.xlsx"
book.save(typed)


for kind in ["ods", "xls", "xlsx"]:
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(
            ["soffice", "--headless", "--convert-to", kind, "--outdir", folder, typed],
            check=True,
            stdout=subprocess.DEVNULL,
        )
        shutil.copy(pathlib.Path(folder) / f"typed.{kind}", here / f"shop.{kind}")
